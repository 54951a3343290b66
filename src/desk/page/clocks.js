// Clocks: what is found of each, agreed to one by one and undone one by one, and a picture of a watch.

import { byId, el, getJson, postJson, say, shout, hush, button, start, watch, pictureNode } from "./shared.js";

let seen = "";

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

async function change(path, body, done) {
  hush();
  const reply = await postJson(path, body, 120000);
  if (!reply.ok) return shout(`${reply.body.error}.`);
  if (reply.body.done) say(reply.body.done, "saved");
  done?.(reply.body);
  return look();
}

function draw({ clocks, rows, report, cameras }) {
  const now = JSON.stringify([clocks, rows, report.fresh, report.failed, report.number]);
  if (now === seen) return;
  seen = now;
  const stale = !report.fresh;
  const none = clocks === null ? "The clocks are being looked at…" : "";
  const parts = (clocks ?? []).flatMap(({ camera, findings }) => findings.map((finding) => findingPart(camera, finding, report, stale)));
  const rest = (clocks ?? []).filter(({ findings }) => !findings.length);
  byId("found").replaceChildren(...(report.failed ? [el("p", { className: "error" }, report.failed)] : none ? [el("p", {}, none)] : parts),
    ...(stale && clocks ? [el("p", { className: "help" }, "Something has changed; they are judged anew.")] : []),
    ...(rest.length ? [el("ul", { className: "receipts" }, ...rest.map(({ camera, word }) => el("li", {}, el("strong", {}, camera), `: ${word}`)))] : []),
    ...(clocks && !clocks.length ? [el("p", {}, "There is no picture yet.")] : []));
  byId("rows").replaceChildren(...(rows.length ? rows.map(rowItem) : [el("li", {}, "No row in clocks.csv.")]));
  const select = byId("watch").elements.camera;
  if (select.options.length !== cameras.length) {
    select.replaceChildren(...cameras.map((camera) => el("option", {}, camera)));
    watchPictures();
  }
}

function findingPart(camera, finding, report, stale) {
  const accept = finding.remedy
    ? button("Put it right", () => change("api/clocks/accept", { key: finding.key }), { className: "main", disabled: stale, "aria-label": `Put ${camera} right` })
    : el("p", {}, "The pictures do not say by how much; a picture of a watch would, below.");
  return el("article", { className: "clock" }, el("h2", {}, `${camera}: ${finding.plain}`),
    el("p", {}, `${capital(finding.evidence)}.`), finding.doubt ? el("p", {}, `But ${finding.doubt}.`) : null,
    el("img", { src: `report/${finding.plot}?made=${report.number}`, alt: `Pictures of ${camera} against sunrise and sunset, as its clock is read now and as it would be`, onerror: (event) => event.target.remove() }),
    finding.remedy ? el("p", {}, finding.remedy) : null, accept, ...otherWay(camera, finding, stale));
}

// Twelve hours on or back: the light is the same, the date is another.
function otherWay(camera, finding, stale) {
  if (!finding.other_way) return [];
  return [el("p", {}, `Or the other way round, which moves the date by a day: ${finding.other_way} One picture whose date you know tells which.`),
    button("Put it right the other way", () => change("api/clocks/accept", { key: finding.key, other_way: true }), { disabled: stale, "aria-label": `Put ${camera} right the other way` })];
}

function rowItem({ line, row, words }) {
  return el("li", {}, words ?? "This row cannot be used:", " ", el("span", { className: "path" }, row), " ",
    button("Undo", () => change("api/clocks/undo", { line, row }), { "aria-label": `Undo: ${words ?? row}` }));
}

async function watchPictures(day = "") {
  const camera = byId("watch").elements.camera.value;
  if (!camera) return;
  const { ok, body } = await getJson("api/clocks/pictures", { camera, day });
  if (!ok) return shout(`${body.error}.`);
  byId("watch").elements.day.replaceChildren(...body.days.toReversed().map((d) => el("option", { selected: d === body.day }, d)));
  byId("shows").hidden = true;
  byId("meaning").replaceChildren();
  byId("watch-pictures").replaceChildren(...body.pictures.map((picture) => el("li", {},
    button("", () => choose(picture), { "aria-label": `${picture.file}, ${picture.time ?? "no time"}`, className: "plain" }))));
  [...byId("watch-pictures").children].forEach((item, i) => {
    const picture = body.pictures[i];
    item.firstChild.append(pictureNode(picture, "small", ""), el("span", {}, picture.time ?? picture.file));
  });
}

let chosen = null;

function choose(picture) {
  chosen = picture;
  byId("shows").hidden = false;
  byId("shows-what").replaceChildren(pictureNode(picture, "screen", `${picture.file}, the picture with the watch`), `${picture.file}: its camera's clock says ${picture.time ?? "nothing"}.`);
  const { day } = byId("watch").elements;
  byId("shows").elements.shows.value = picture.time ? `${day.value}T${picture.time}` : "";
  byId("shows").elements.shows.focus();
}

async function meaning(agreed) {
  hush();
  const shows = byId("shows").elements.shows.value;
  const { ok, body } = await postJson("api/clocks/watch", { picture: chosen.path, shows, agreed });
  if (!ok) return byId("meaning").replaceChildren(el("p", {}, `${capital(body.error)}.`));
  if (agreed) {
    say(body.done, "saved");
    byId("shows").hidden = true;
    byId("meaning").replaceChildren();
    return look();
  }
  const { plain, evidence, remedy } = body.found;
  byId("meaning").replaceChildren(el("p", {}, `${capital(plain)}: ${evidence}.`), el("p", {}, remedy ?? ""),
    button("Put it right", () => meaning(true), { className: "main" }));
}

async function look() {
  const { ok, status, body } = await getJson("api/clocks");
  if (ok) draw(body);
  else if (status === 0) shout(`${body.error}.`);
}

if (await start()) {
  const { camera, day } = byId("watch").elements;
  camera.onchange = () => watchPictures();
  day.onchange = () => watchPictures(day.value);
  byId("shows").onsubmit = (event) => {
    event.preventDefault();
    meaning(false);
  };
  await look();
  watch({ busy: () => false, refresh: () => {} });
  setInterval(() => { if (!document.hidden) look(); }, 1500);
}
