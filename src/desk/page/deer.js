// The named deer: one table of all, or one deer with its pictures.

import { byId, el, getJson, shout, start, watch, isTyping, pictureNode, pictures, listed, whereAndWhen, table, dayStrip } from "./shared.js";

const name = new URLSearchParams(location.search).get("name");

const cameraWords = (cameras) => cameras.map(({ camera, visits }) => `${camera} ${visits}`).join(", ");

const FACTS = [
  ["Kind", (deer) => deer.who],
  ["Age class", (deer) => deer.ages || "not said"],
  ["Visits", (deer) => String(deer.visits)],
  ["Pictures", (deer) => String(deer.pictures)],
  ["First seen", (deer) => deer.first_seen],
  ["Last seen", (deer) => deer.last_seen],
  ["Cameras", (deer) => cameraWords(deer.cameras)],
  ["In legal light", (deer) => deer.share],
];

function drawAll(list) {
  const link = (deer) => el("a", { href: `deer.html?${new URLSearchParams({ name: deer.name })}` }, deer.name);
  const rows = list.map((deer) => [link(deer), ...FACTS.map(([, words]) => words(deer) ?? "")]);
  const none = el("p", {}, "No deer has a name yet. Give one on the Visits page.");
  byId("deer").replaceChildren(
    list.length ? table("Deer with a name", ["Name", ...FACTS.map(([words]) => words)], rows) : none);
}

function drawOne(deer, shown, best) {
  byId("heading").textContent = deer.name;
  document.title = `${deer.name} - Named deer - Graylight`;
  const facts = FACTS.map(([words, value]) => el("div", {}, el("dt", {}, words), el("dd", {}, value(deer) ?? "")));
  byId("deer").replaceChildren(el("p", {}, el("a", { href: "deer.html" }, "All named deer")),
    el("h2", {}, "When it came"), dayStrip(deer.hours, `${deer.visits} visits by the sun of their day, midnight at either end; ${deer.share}`),
    el("dl", {}, ...facts),
    ...(best.length ? [el("h2", {}, "Best pictures"), el("ul", { className: "best" }, ...best.map((picture) => pictureItem(picture, "screen")))] : []),
    el("h2", {}, pictures(shown.length)),
    el("ul", { className: "sheet" }, ...shown.map((picture) => pictureItem(picture, "small"))));
}

function pictureItem(picture, size) {
  const words = listed(whereAndWhen(picture), picture.light);
  const href = `visits.html?${new URLSearchParams({ id: picture.visit })}`;
  return el("li", {}, el("a", { href }, pictureNode(picture, size, ""), words));
}

async function load() {
  const { ok, body } = await getJson("api/deer", { name });
  if (!ok) return shout(`${body.error}.`);
  if (name !== null && !Array.isArray(body.deer)) drawOne(body.deer, body.pictures, body.best);
  else drawAll(body.deer);
  if (body.law) byId("law").textContent = body.law;
}

async function open() {
  if (!(await start())) return;
  await load();
  watch({ busy: isTyping, refresh: load });
}

open();
