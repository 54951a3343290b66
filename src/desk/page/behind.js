// The visits behind a number of the debrief, each by its first picture.

import { byId, el, getJson, shout, hush, start, watch, isTyping, pictureNode, whereAndWhen, listed, dayStrip } from "./shared.js";

const asked = Object.fromEntries(new URLSearchParams(location.search));
let onlyCounted = false;

const counted = (n) => (n === 1 ? "1 visit" : `${n} visits`);

function item(visit) {
  const words = listed(whereAndWhen(visit), visit.light);
  if (!visit.picture) return el("li", {}, `${words}, without a picture`);
  const href = `visits.html?${new URLSearchParams({ id: visit.picture.visit })}`;
  return el("li", {}, el("a", { href }, pictureNode(visit.picture, "small", ""), words));
}

function draw({ title, light, counted: inLight, hours, visits }) {
  byId("heading").textContent = title;
  document.title = `${title} - Graylight`;
  const words = `${inLight} of ${counted(visits.length)} in ${light}`;
  const box = el("input", { type: "checkbox", checked: onlyCounted, onchange: () => {
    onlyCounted = box.checked;
    list();
  } });
  const sheet = el("ul", { className: "sheet" });
  const list = () => sheet.replaceChildren(...visits.filter((visit) => !onlyCounted || visit.counted).map(item));
  list();
  byId("behind").replaceChildren(el("p", {}, el("a", { href: "debrief.html" }, "Back to the debrief")),
    el("p", {}, el("strong", {}, words), ". A visit is shown by its first picture; press it to see the others and what was said of them."),
    dayStrip(hours, `${words}, by the sun of their day, midnight at either end`),
    el("p", {}, el("label", { className: "switch" }, box, ` only those in ${light}`)), sheet);
}

// Until there is a debrief, ask for one and wait.
async function load() {
  const { ok, status, body } = await getJson("api/behind", asked);
  if (ok) {
    hush();
    byId("said").textContent = "";
    return draw(body);
  }
  const report = status === 404 ? (await getJson("api/report")).body : null;
  if (report && !report.failed && report.made === null) {
    byId("said").textContent = "The debrief is being made…";
    setTimeout(load, 1000);
  } else shout(`${body.error}.`);
}

if (await start()) {
  await load();
  watch({ busy: isTyping, refresh: load });
}
