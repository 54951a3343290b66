// The contact sheet: many visits at once, to tag those with nothing on them.

import {
  desk, byId, el, getJson, postJson, say, shout, hush, button, start, learn, watch, isTyping,
  keyButton, actionFor, openKeys, pictures, pictureNode, openViewer, readFilter, buildFilter, listed,
  whereAndWhen,
} from "./shared.js";

const PAGE = 60;
const filter = readFilter({ who: "untagged", quiet: "yes" });

let sheet = { total: 0, visits: [] };
let from = Number(new URLSearchParams(location.search).get("from_index")) || 0;
let chosen = new Set();
let current = 0;
let working = false;
let asked = "";        // the chosen visits for which the person was asked whether their tags may go

// --- fetching

async function load() {
  const { ok, body } = await getJson("api/sheet", { ...filter, from_index: from, limit: PAGE });
  if (!ok) return shout(`${body.error}.`);
  if (!body.visits.length && from > 0 && body.total > 0) {
    from = Math.max(0, from - PAGE);
    return load();
  }
  const same = JSON.stringify(body) === JSON.stringify(sheet);
  sheet = body;
  chosen = new Set(sheet.visits.map(({ id }) => id).filter((id) => chosen.has(id)));
  if (!same) draw();
  else drawCounts();
}

async function turnTo(index) {
  from = Math.max(0, index);
  const query = new URLSearchParams(location.search);
  query.set("from_index", from);
  history.replaceState(null, "", `?${query}`);
  chosen.clear();
  current = 0;
  await load();
  byId("heading").focus();
}

// --- tagging

// One thing at a time: a second press while the first is being saved would sweep what nobody has looked at.
async function once(job) {
  if (working) return;
  working = true;
  try {
    await job();
  } finally {
    working = false;
  }
}

async function sweep() {
  const visits = sheet.visits.filter(({ id }) => chosen.has(id)).map(({ id, version }) => ({ id, version }));
  if (!visits.length) return say("Choose pictures first: Space, or a click");
  const tagged = sheet.visits.filter(({ id, state, tags }) => chosen.has(id) && state !== "untagged" && tags !== "nothing");
  if (tagged.length && asked !== [...chosen].join()) {
    asked = [...chosen].join();
    return say(`${tagged.length} of these ${visits.length} carry tags; press again to replace them with nothing`, "not");
  }
  asked = "";
  say("Saving…");
  const generation = sheet.visits[0].generation;
  const { ok, body } = await postJson("api/sweep", { generation, visits, who: "empty" });
  if (!ok) {
    say("NOT SAVED", "not");
    return shout(`NOT SAVED: ${body.error}. ${visits.length} visits are still chosen and not tagged.`);
  }
  hush();
  learn(body);
  chosen.clear();
  await load();
  focusCard();
  const changed = body.changed_meanwhile ? `; ${body.changed_meanwhile} changed meanwhile and were left alone` : "";
  say(`Saved: ${body.saved} visits tagged as nothing${changed}`, "saved");
}

async function undo() {
  const { ok, body } = await postJson("api/undo", {});
  if (!ok) return shout(`Not undone: ${body.error}.`);
  hush();
  learn(body);
  await load();
  focusCard();
  say(body.undone ?? "Nothing left to undo");
}

async function large(at = current) {
  const shown = sheet.visits[at];
  if (!shown) return;
  current = at;
  const { ok, body } = await getJson("api/visit", { go: "here", id: shown.id });
  if (!ok || !body.visit) return shout(`${body.error ?? "This visit is gone"}.`);
  openViewer(body.visit, 0);
}

// --- choosing

const boxes = () => [...byId("sheet").querySelectorAll("input")];

function choose(id, on) {
  if (on) chosen.add(id);
  else chosen.delete(id);
  drawCounts();
}

function chooseAll(on) {
  for (const { id } of sheet.visits) choose(id, on);
  for (const box of boxes()) box.checked = on;
}

function focusCard() {
  const all = boxes();
  current = Math.max(0, Math.min(current, all.length - 1));
  all.forEach((box, at) => { box.tabIndex = at === current ? 0 : -1; });
  (all[current] ?? byId("heading")).focus();
}

function columns() {
  const tops = [...byId("sheet").children].map((item) => item.offsetTop);
  return Math.max(1, tops.filter((top) => top === tops[0]).length);
}

function step(key) {
  const by = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -columns(), ArrowDown: columns() }[key];
  if (current + by < 0 || current + by >= sheet.visits.length) return;
  current += by;
  focusCard();
}

// --- keys

function onKey(event) {
  if (isTyping() || document.querySelector("dialog[open]")) return;
  const plain = !event.ctrlKey && !event.metaKey && !event.altKey;
  if (event.key.startsWith("Arrow") && plain) {
    event.preventDefault();
    return step(event.key);
  }
  if (event.key.toLowerCase() === "a" && (event.ctrlKey || event.metaKey)) {
    event.preventDefault();
    return chooseAll(true);
  }
  const job = { empty: sweep, undo, large: () => large(), help: openKeys }[actionFor(event)];
  if (!job) return;
  event.preventDefault();
  if (!event.repeat) once(job);
}

// --- drawing

function draw() {
  const hadFocus = byId("sheet").contains(document.activeElement);
  byId("sheet").replaceChildren(...sheet.visits.map(card));
  if (hadFocus) focusCard();
  drawCounts();
}

function card(shown, at) {
  const words = listed(whereAndWhen(shown), pictures(shown.pictures), shown.light ?? "light not known");
  const box = el("input", {
    type: "checkbox", checked: chosen.has(shown.id), tabIndex: at === current ? 0 : -1,
    onchange: () => choose(shown.id, box.checked), onfocus: () => { current = at; },
  });
  const tags = shown.tags || shown.state;
  const label = el("label", {}, pictureNode({ id: shown.first_picture }, "small", ""),
    el("span", {}, box, ` ${words} `, el("em", {}, tags)));
  const look = button("closer", () => once(() => large(at)), { tabIndex: -1, "aria-label": `closer: ${words}` });
  const item = el("li", {}, label, look);
  if (shown.burst.length > 1) flickThrough(item, shown);
  return item;
}

// The whole burst while the pointer rests on it, or a finger holds it.
function flickThrough(item, { burst, first_picture: first }) {
  const EVERY_MS = 350;
  let timer = null, at = 0;
  const show = (id) => {
    const img = item.querySelector("img");
    if (img) img.src = `picture/${id}?size=small`;
  };
  const begin = () => {
    timer ??= setInterval(() => {
      at = (at + 1) % burst.length;
      show(burst[at]);
    }, EVERY_MS);
  };
  const end = () => {
    if (timer === null) return;
    clearInterval(timer);
    timer = null;
    show(first);
  };
  item.addEventListener("pointerenter", begin);
  item.addEventListener("pointerdown", begin);
  for (const over of ["pointerleave", "pointercancel", "pointerup"]) item.addEventListener(over, (event) => { if (over !== "pointerup" || event.pointerType !== "mouse") end(); });
}

function drawCounts() {
  const last = Math.min(from + sheet.visits.length, sheet.total);
  byId("place").textContent = sheet.total
    ? `${from + 1} to ${last} of ${sheet.total} visits; ${chosen.size} chosen`
    : "No visit matches this filter.";
  byId("next").disabled = last >= sheet.total;
  byId("previous").disabled = from === 0;
  byId("sweep").firstChild.textContent = `tag ${chosen.size} chosen as nothing`;
  document.title = `${chosen.size} chosen - Sweep - Graylight`;
}

function buildTools() {
  const tag = keyButton("empty", () => once(sweep));
  tag.id = "sweep";
  const all = button("choose all on this page ", () => chooseAll(true));
  all.append(el("kbd", {}, "Ctrl+A"));
  byId("tools").append(tag, all, button("choose none", () => chooseAll(false)),
    keyButton("large", () => once(() => large())), keyButton("undo", () => once(undo)), keyButton("help", openKeys));
  byId("turn").append(button(`Previous ${PAGE}`, () => once(() => turnTo(from - PAGE)), { id: "previous" }),
    button(`Next ${PAGE}`, () => once(() => turnTo(from + PAGE)), { id: "next" }));
}

function renewed() {
  if (chosen.size) say("The pictures were read anew; choose again");
  chosen.clear();
  load();
}

async function open() {
  if (!(await start())) return;
  buildFilter(filter);
  byId("advice").hidden = filter.quiet !== "yes";
  buildTools();
  await load();
  document.addEventListener("keydown", onKey);
  watch({ busy: () => working || isTyping(), refresh: load, renewed });
}

open();
