// What every page of the desk needs: asking the server, the header, notices, polling, pictures.

export const STOPPED = "graylight has stopped. Start it again, and go on in the window it opens";

export const WHO = {
  buck: "buck", doe: "doe", fawn: "fawn", deer: "deer, not sure", other: "other animal",
  person: "person", vehicle: "vehicle", empty: "nothing",
};

export const ACTIONS = {
  ...WHO,
  age: "age class", name: "name", repeat: "same again", remove: "remove", undo: "undo",
  on: "next untagged", next: "next visit", previous: "previous visit", later: "later picture",
  earlier: "earlier picture", one: "this picture only", large: "closer", bright: "brighter", help: "keys",
};

// What a button says where there is little room.
const SHORT = {
  deer: "deer", other: "other", on: "next to tag", next: "next", previous: "back", later: "later", earlier: "earlier",
  one: "one", repeat: "again", remove: "clear", age: "age", bright: "bright",
};

const KEY_WORDS = {
  ArrowRight: "Right", ArrowLeft: "Left", ArrowUp: "Up", ArrowDown: "Down",
  PageDown: "Page Down", PageUp: "Page Up",
};

const KEY_SIGNS = { ArrowRight: "→", ArrowLeft: "←", ArrowUp: "↑", ArrowDown: "↓", PageDown: "PgDn", PageUp: "PgUp", Enter: "⏎" };

// The one copy of what the server last said about the property as a whole.
export const desk = { keys: {}, keys_on: true, names: [], cameras: [], counts: null, version: 0, generation: 0 };

export const byId = (id) => document.getElementById(id);

export function el(tag, properties = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name.includes("-") || name === "role") node.setAttribute(name, value);
    else node[name] = value;
  }
  node.append(...children.filter((child) => child !== null));
  return node;
}

// --- asking the server

export const getJson = (path, query = {}) => {
  const given = Object.entries(query).filter(([, value]) => value !== "" && value != null);
  return send(`${path}?${new URLSearchParams(given)}`, {});
};

export const postJson = (path, body, patienceMs = 20000) =>
  send(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) }, patienceMs);

async function send(url, options, patienceMs = 20000) {
  let reply;
  // A page that was loaded for one property must not write into another.
  const headers = desk.opening ? { ...options.headers, "x-opening": desk.opening } : options.headers;
  try {
    reply = await fetch(url, { ...options, headers, signal: AbortSignal.timeout(patienceMs) });
  } catch {
    return { ok: false, status: 0, body: { error: STOPPED } };
  }
  const unclear = { error: `graylight gave an answer this page does not understand (${reply.status})` };
  const body = await reply.json().catch(() => null);
  // Errors are put into longer sentences here.
  if (body?.error) body.error = body.error.replace(/\.$/, "");
  return { ok: reply.ok && body !== null, status: reply.status, body: body ?? unclear };
}

// --- saying things

// The state, "saved" or "not", decides how it looks.
export function say(text, state = "") {
  byId("said").dataset.state = state;
  byId("said").textContent = text;
}

export function shout(text, ...buttons) {
  byId("alarm").replaceChildren(el("p", {}, text), ...buttons);
}

export const hush = () => byId("alarm").replaceChildren();

export const button = (text, onclick, properties = {}) => el("button", { type: "button", onclick, ...properties }, text);

// --- the header

export async function start() {
  const { ok, body } = await getJson("api/state");
  if (body.closed) {
    location.replace("home.html");
    return false;
  }
  if (!ok) {
    shout(`${body.error}.`, button("Try again", () => location.reload()));
    return false;
  }
  Object.assign(desk, body);
  byId("property").textContent = desk.property;
  showCounts();
  showNotices();
  return true;
}

export function learn(body) {
  if (body.counts) desk.counts = body.counts;
  if (body.sorting) desk.sorting = body.sorting;
  if (body.notices) desk.notices = body.notices;
  if (body.lost) desk.lost = body.lost;
  if (body.notices || body.lost) showNotices();
  desk.version = Math.max(desk.version, body.version ?? 0);
  showCounts();
}

function showCounts() {
  const { counts, sorting } = desk;
  const parts = [`${counts.untagged} of ${counts.visits} visits untagged`];
  if (sorting && !sorting.done && sorting.of) parts.push(`looking for pictures of nothing: ${sorting.looked_at} of ${sorting.of}`);
  const text = parts.join("; ");
  if (byId("counts").textContent !== text) byId("counts").textContent = text;
}

let noticesShown = "";

// Drawn only when they have changed: a button must not go from under the hand.
function showNotices() {
  const now = JSON.stringify([desk.notices, desk.lost]);
  if (now === noticesShown) return;
  noticesShown = now;
  const dismissed = JSON.parse(sessionStorage.getItem("dismissed") ?? "[]");
  const texts = (desk.notices ?? []).filter((text) => !dismissed.includes(text));
  byId("notices").replaceChildren(...(desk.lost?.rows ? [lostRows(desk.lost)] : []), ...texts.map(notice));
}

function lostRows({ rows, pictures: count, for_example: some }) {
  const decide = async (decision) => {
    const { ok, body } = await postJson("api/lost", { decision, rows });
    if (!ok) shout(`${body.error}.`);
    learn(body);
    if (ok) location.reload();
  };
  const were = rows === 1 ? "1 row you tagged is" : `${rows} rows you tagged are`;
  return el("div", { className: "notice lost", role: "alert" },
    el("p", {}, el("strong", {}, `${were} gone`), ` from tags.csv, or set back (${pictures(count)}): another program saved over it, or it was emptied. `,
      el("small", {}, `${some.join("; ")}${count > some.length ? "; …" : ""}`)),
    button("Put back", () => decide("put_back")), button("Let go", () => decide("let_go")));
}

function notice(text) {
  const dismiss = () => {
    const dismissed = JSON.parse(sessionStorage.getItem("dismissed") ?? "[]");
    sessionStorage.setItem("dismissed", JSON.stringify([...dismissed, text]));
    box.remove();
    byId("main").focus();
  };
  const box = el("div", { className: "notice" }, el("p", {}, text), button("I have read this", dismiss));
  return box;
}

// --- polling

// A new generation means that the numbers of visits and pictures stand for others now.
export function watch({ busy, refresh, renewed = refresh, back, stopped = () => shout(`${STOPPED}.`) }) {
  let gone = false;
  setInterval(async () => {
    if (document.hidden) return;
    const { ok, status, body } = await getJson("api/since", { version: desk.version });
    if (status === 0 && !gone) stopped();
    if (ok && gone) {
      hush();
      back?.();
    }
    gone = status === 0;
    if (!ok || busy()) return;
    const others = body.generation !== desk.generation;
    const changed = body.version > desk.version;
    desk.generation = body.generation;
    learn(body);
    if (others) renewed();
    else if (changed) refresh();
  }, 1500);
}

export function isTyping() {
  return document.activeElement?.matches("input:not([type=checkbox]), select, textarea") ?? false;
}

// --- keys

export const actions = () => Object.keys(ACTIONS).filter((action) => desk.keys[action]);

export const keyWords = (key) => KEY_WORDS[key] ?? (key === " " ? "Space" : key);

export function keyButton(action, onclick) {
  const key = desk.keys[action];
  const hint = key && (desk.keys_on || key.length > 1) ? el("kbd", {}, KEY_SIGNS[key] ?? keyWords(key)) : null;
  // Pressing with the mouse must not take the focus: Enter would then press this button again.
  return el("button", { type: "button", onclick, onmousedown: (event) => event.preventDefault(), "data-action": action, title: ACTIONS[action] },
    el("span", {}, SHORT[action] ?? ACTIONS[action]), hint);
}

// The action a key stands for, a digit as itself, or null when the key belongs to the browser or a control.
export function actionFor(event) {
  if (event.altKey || event.isComposing || isTyping() || document.querySelector("dialog[open]")) return null;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (event.ctrlKey || event.metaKey) return key === "z" && !event.shiftKey ? "undo" : null;
  if (belongsToControl(event.target, key)) return null;
  if (key.length === 1 && !desk.keys_on) return null;
  if (/^[0-9]$/.test(key)) return key;
  return Object.keys(desk.keys).find((action) => desk.keys[action] === key) ?? null;
}

function belongsToControl(target, key) {
  if (key === "Enter" || key === " ") return target.closest?.("button, a, summary, input, video") != null;
  return key.startsWith("Arrow") && target.closest?.("video") != null;
}

export function openKeys() {
  const rows = actions().map((action) => [ACTIONS[action], keyWords(desk.keys[action])]);
  rows.push(["a known deer of the rail", "Shift and 1 to 6"], ["how many, on the last line", "1 to 9"], ["one more of the same", "its letter again"], ["undo as well", "Ctrl+Z"]);
  const dialog = el("dialog", { className: "help", "aria-label": "Keys" },
    el("h2", { tabIndex: -1, autofocus: true }, "Keys"),
    el("dl", {}, ...rows.map(([words, key]) => el("div", {}, el("dt", {}, words), el("dd", {}, el("kbd", {}, key))))),
    el("p", {}, el("a", { href: "keys.html" }, "Change the keys")));
  dialog.append(closeButton());
  openDialog(dialog);
}

const closeButton = () => button("Close", (event) => event.target.closest("dialog").close());

function openDialog(dialog) {
  dialog.onclose = () => dialog.remove();
  document.body.append(dialog);
  dialog.showModal();
}

// --- words

export function tagWords(tag) {
  const words = [tag.who === "deer" ? "deer" : WHO[tag.who] ?? tag.who];
  if (tag.count > 1) words.push(String(tag.count));
  const more = [tag.age == null ? null : `age ${tag.age}`, tag.name, tag.note].filter(Boolean);
  return [words.join(" "), ...more].join(", ");
}

export const tagsWords = (tags) => tags.map(tagWords).join("; ") || "no tags";

export const listed = (...words) => words.filter(Boolean).join(", ");

export const whereAndWhen = ({ camera, date, time }, ownTime = time) =>
  listed(camera, date, ownTime ?? time ?? "time not known");

export const pictures = (count) => (count === 1 ? "1 picture" : `${count} pictures`);

// --- pictures

// The wrapper is what is placed, so that a picture fetched ahead can fail before it is on screen.
export function pictureNode(picture, size, alt) {
  const box = el("div", { className: "picture" });
  if (picture.clip && picture.playable && size !== "small") {
    box.append(el("video", { src: `clip/${picture.id}`, controls: true, preload: "metadata", "aria-label": alt }));
    return box;
  }
  const url = `picture/${picture.id}?size=${size}`;
  box.append(el("img", { alt, loading: size === "small" ? "lazy" : "eager", onerror: () => explain(box, url, picture), src: url }));
  return box;
}

async function explain(box, url, picture) {
  const text = await fetch(url).then((reply) => reply.text(), () => STOPPED);
  box.replaceChildren(el("p", {}, `Cannot be shown: ${text}`), el("p", { className: "path" }, picture.path ?? ""));
}

export function openViewer(visit, index, onFlick = () => {}) {
  const frame = el("div", { className: "frame", tabIndex: 0, role: "group", "aria-label": "Picture" });
  const caption = el("p", { "aria-live": "polite" });
  const largeKey = desk.keys_on ? `${keyWords(desk.keys.large)} or ` : "";
  const closing = el("p", { role: "status" }, `${largeKey}Esc closes; keys that tag work after that.`);
  const flick = (step) => {
    index = Math.max(0, Math.min(visit.pictures.length - 1, index + step));
    const picture = visit.pictures[index];
    const words = `${whereAndWhen(visit, picture.time)}, picture ${index + 1} of ${visit.pictures.length}`;
    caption.textContent = words;
    frame.replaceChildren(pictureNode(picture, "full", words));
    onFlick(index);
  };
  const zoom = button("Actual size", () => {
    zoom.textContent = frame.classList.toggle("actual") ? "Fit the window" : "Actual size";
  });
  const bar = el("div", { className: "keys" }, zoom, button("Earlier", () => flick(-1)), button("Later", () => flick(1)), closeButton());
  const dialog = el("dialog", { className: "viewer", "aria-label": "Large picture" }, caption, frame, bar, closing);
  dialog.onkeydown = (event) => {
    // The page behind must not take the key as well, and open what it has just closed.
    event.stopPropagation();
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const scrolls = event.target.closest("video") || frame.classList.contains("actual");
    if (key === desk.keys.large && desk.keys_on) dialog.close();
    else if (key === desk.keys.later && !scrolls) flick(1);
    else if (key === desk.keys.earlier && !scrolls) flick(-1);
    else return;
    event.preventDefault();
  };
  flick(0);
  openDialog(dialog);
}

// --- the filter, kept in the page's own address by a plain form

const FILTERS = ["camera", "from", "until", "who", "light", "name", "quiet"];

export function readFilter(otherwise = {}) {
  const given = new URLSearchParams(location.search);
  if (!FILTERS.some((name) => given.has(name))) return otherwise;
  return Object.fromEntries(FILTERS.map((name) => [name, given.get(name) ?? ""]).filter(([, value]) => value));
}

export function buildFilter(values) {
  const same = (list) => list.map((text) => [text, text]);
  const fields = [
    choice("camera", "Camera", [["", "every camera"], ...same(desk.cameras)]),
    el("label", {}, "From", el("input", { type: "date", name: "from" })),
    el("label", {}, "Until", el("input", { type: "date", name: "until" })),
    choice("who", "Tagged as", [["", "anything or not"], ["untagged", "not tagged yet"], ["tagged", "tagged"],
      ["conflict", "in conflict"], ["mature", "mature buck"], ...Object.entries(WHO)]),
    choice("light", "Light", [["", "any light"], ["daylight", "daylight"], ["gray", "gray light"], ["legal", "legal light"], ["dark", "dark"]]),
    choice("name", "Named deer", [["", "any or none"], ...same(desk.names.map((known) => known.name))]),
    choice("quiet", "Looks like", [["", "anything"], ["yes", "probably nothing"], ["no", "probably something"]]),
  ];
  const form = byId("filter");
  form.replaceChildren(...fields, el("button", {}, "Show these"));
  for (const [name, value] of Object.entries(values)) form.elements[name].value = value;
  byId("filter-words").textContent = `Filter: ${filterWords(form)}`;
}

const choice = (name, words, options) =>
  el("label", {}, words, el("select", { name }, ...options.map(([value, text]) => el("option", { value }, text))));

function filterWords(form) {
  const given = FILTERS.map((name) => form.elements[name]).filter((field) => field.value);
  const words = given.map((field) =>
    `${field.labels[0].firstChild.textContent.toLowerCase()} ${field.selectedOptions?.[0].textContent ?? field.value}`);
  return words.join(", ") || "every visit";
}

// --- the light strip: a day from midnight to midnight in dark, gray light and daylight, a tick for each visit

const SVG = "http://www.w3.org/2000/svg";

export function drawing(tag, attributes, text = "") {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.textContent = text;
  return node;
}

export function drawStrip(svg, { legal_from: from, sunrise, sunset, legal_until: until, ticks }, label) {
  const band = (name, left, right) => {
    const [x, end] = [Math.max(0, left), Math.min(1440, right)];
    return drawing("rect", { class: name, x, width: Math.max(0, end - x), height: 40 });
  };
  svg.setAttribute("aria-label", label);
  svg.replaceChildren(band("night", 0, 1440), band("gray", from, until), band("day", sunrise, sunset), ...ticks.map((at) => band("tick", at - 3, at + 3)));
}

export function dayStrip(day, label) {
  const svg = drawing("svg", { class: "daystrip wide", viewBox: "0 0 1440 40", preserveAspectRatio: "none", role: "img" });
  drawStrip(svg, day, label);
  return svg;
}

// --- tables that fold into blocks on a narrow window; the roles outlive that change of display

export function table(caption, columns, rows) {
  const cell = (content, at) => el("td", { role: "cell", "data-words": columns[at] }, content);
  return el("table", { role: "table" }, el("caption", {}, caption),
    el("thead", { role: "rowgroup" }, el("tr", { role: "row" },
      ...columns.map((words) => el("th", { role: "columnheader", scope: "col" }, words)))),
    el("tbody", { role: "rowgroup" }, ...rows.map((row) => el("tr", { role: "row" }, ...row.map(cell)))));
}
