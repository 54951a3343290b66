// The debrief, made in the background while it is looked at.

import { byId, desk, getJson, postJson, shout, hush, start, watch } from "./shared.js";

let number = null;
let told = null;

// The page is loaded anew at the place where it was.
function load(made) {
  const frame = byId("report");
  const at = frame.contentWindow?.scrollY ?? 0;
  const first = number === null;
  number = made;
  frame.hidden = false;
  frame.onload = () => {
    linkUp(frame.contentDocument);
    if (!first) frame.contentWindow.scrollTo(0, at);
  };
  frame.src = `report/report.html?made=${made}`;
}

// From the numbers to the visits behind them; cameras lead to their visits, deer with names to their pictures.
function linkUp(page) {
  const cameras = new Map(desk.cameras.map((name) => [name.toLowerCase(), name]));
  const deer = new Map(desk.names.map(({ name }) => [name.toLowerCase(), name]));
  const link = (words, where, query) => {
    const node = page.createElement("a");
    node.href = new URL(`${where}?${new URLSearchParams(query)}`, document.baseURI).href;
    node.target = "_top";
    node.textContent = words;
    return node;
  };
  for (const number of page.querySelectorAll("[data-of]")) {
    const behind = link("", "behind.html", { ...number.dataset });
    behind.append(...number.childNodes);
    if (number.hidden) number.before(" · ");
    number.hidden = false;
    number.replaceChildren(behind);
  }
  for (const cell of page.querySelectorAll("th, td, h3")) {
    const words = cell.textContent.trim();
    const [camera, named] = [cameras.get(words.toLowerCase()), deer.get(words.toLowerCase())];
    if (cell.children.length) continue;
    if (camera) cell.replaceChildren(link(words, "visits.html", { camera }));
    else if (named) cell.replaceChildren(link(words, "deer.html", { name: named }));
  }
  for (const sheet of page.querySelectorAll("details.camera")) {
    const words = sheet.querySelector("summary").textContent.toLowerCase();
    const camera = [...cameras.values()].filter((name) => words.startsWith(name.toLowerCase())).sort((a, b) => b.length - a.length)[0];
    if (!camera) continue;
    const line = page.createElement("p");
    line.append("The visits themselves: ", link("mature bucks in legal light", "visits.html", { camera, who: "mature", light: "legal" }), ", ",
      link("mature bucks", "visits.html", { camera, who: "mature" }), ", ", link("all", "visits.html", { camera }), ".");
    sheet.querySelector("summary").after(line);
  }
}

async function look() {
  const { ok, status, body } = await getJson("api/report");
  if (!ok) {
    if (status === 0) shout(`${body.error}.`);
    return;
  }
  const { failed, fresh, making, made } = body;
  const words = failed ? "" : fresh ? `Made ${made}, up to date` : making || made === null ? "Being made…" : `Made ${made}; something has changed, it is made anew in a moment`;
  // What was said last stays until there is something new to say.
  if (words !== told) byId("state").textContent = told = words;
  if (failed) shout(`The debrief cannot be made: ${failed}.`);
  else hush();
  for (const id of ["save", "print"]) byId(id).disabled = made === null;
  if (made !== null && body.number !== number) load(body.number);
}

if (await start()) {
  byId("save").onclick = async () => {
    const { ok, body } = await postJson("api/report", {}, 60000);
    if (ok) {
      const kept = body.kept.length === 0 ? "" : `. What was there and no debrief had left is kept as ${body.kept.join(", ")}`;
      byId("state").textContent = `Saved: ${body.page} and ${body.files - 1} files beside it${kept}`;
    } else shout(`Not saved: ${body.error}.`);
  };
  byId("print").onclick = () => byId("report").contentWindow?.print();
  byId("share").onclick = () => {
    const { hidden } = byId("sharing");
    byId("sharing").hidden = !hidden;
    byId("share").setAttribute("aria-expanded", hidden);
  };
  await look();
  watch({ busy: () => false, refresh: () => {} });
  setInterval(() => { if (!document.hidden) look(); }, 1000);
}
