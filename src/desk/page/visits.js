// The tagging page: one visit on screen, tagged from the keyboard.

import {
  WHO, STOPPED, desk, byId, el, getJson, postJson, say, shout, hush, button, start, learn, watch, isTyping,
  keyButton, actionFor, openKeys, tagWords, tagsWords, pictures, pictureNode, readFilter, buildFilter, listed,
  whereAndWhen, drawStrip as drawLight,
} from "./shared.js";
import { listen, shown, showMoved, toggleZoom, zoomBy, toggleStretch, setLight } from "./picture.js";

const DEER = ["buck", "doe", "fawn", "deer"];
const filter = readFilter();

let visit = null;      // as on screen: what the server said, with what was typed since put in
let place = null;      // counts under the filter
let index = 0;         // which of the visit's pictures
let onlyThis = false;  // tags go to this picture only
let ageAwaited = false;
let inSpread = localStorage.getItem("order") === "spread";  // the next untagged one is one of another camera and week
let agedAt = -Infinity;  // when a digit last meant an age
let arrivedAt = -Infinity;  // when the page last went on by itself
let warned = null;     // the visit whose refused tags the person was warned about
let asked = "";        // the visit and key for which the person was asked whether tags may go
let doubted = "";      // the name for which the person was asked whether it is a new deer
let givenBefore = JSON.parse(sessionStorage.getItem("last-given") ?? "[]");  // as of arriving at this visit
let lastGiven = givenBefore;

// --- turns: everything the person does is done in the order it was done, each when the one before is through

let turn = Promise.resolve();
let round = 0;
let deafUntil = 0;

function act(job) {
  if (performance.now() < deafUntil) return;
  const mine = round;
  turn = turn.then(() => (mine === round ? job() : undefined)).catch((problem) => shout(`Something went wrong: ${problem}`));
}

// After a move that failed, keys typed for the next visit must not land on this one.
function forgetTyped() {
  round += 1;
  deafUntil = performance.now() + 1000;
}

// --- saving: one request at a time, in order; a failed one stays first in line

const waiting = [];
const newest = new Map();  // visit id -> the version and generation last heard
let draining = null;
let stuck = false;
let refused = null;        // the visit whose tags on screen were refused

function save(tags) {
  const ids = onlyThis ? [visit.pictures[index].id] : null;
  const where = `${tagsWords(tags)} (${whereAndWhen(visit)})`;
  const paths = onlyThis ? [visit.pictures[index].path] : visit.pictures.map((picture) => picture.path);
  waiting.push({ visit: visit.id, pictures: ids, paths, tags, where });
  say("Saving…", "saving");
  return drain();
}

function drain() {
  if (!waiting.length) return Promise.resolve(true);
  draining ??= sendAll();
  return draining;
}

async function sendAll() {
  let fine = true;
  try {
    while (waiting.length) {
      const job = waiting[0];
      const known = newest.get(job.visit);
      const reply = await postJson("api/tag", { ...known, visit: job.visit, pictures: job.pictures, paths: job.paths, tags: job.tags });
      if (reply.ok) saved(job, reply.body);
      else if (reply.status === 409) changedMeanwhile(job, reply.body);
      else if (reply.status === 422) notAccepted(job, reply.body);
      else return notSaved(reply.body.error);
      fine = reply.ok;
    }
    return fine;
  } finally {
    draining = null;
  }
}

function saved(job, body) {
  waiting.shift();
  stuck = false;
  if (refused === job.visit) refused = null;
  hush();
  learn(body);
  takeIn(body.visit);
  if (!waiting.length) {
    say(`Saved: ${job.visit === visit.id ? tagsWords(job.tags) : job.where}`, "saved");
    refresh();
  }
}

function changedMeanwhile(job, body) {
  const lost = dropFor(job.visit);
  newest.delete(job.visit);
  takeIn(body.visit);
  complain(`${body.error}. It is shown as it is now; what you typed was: ${lost}`);
  if (visit.id !== job.visit) byId("alarm").append(button("Show that visit", () => act(() => show({ visit: body.visit }))));
}

function notAccepted(job, body) {
  const lost = dropFor(job.visit);
  refused = job.visit;
  complain(`${body.error}. What you typed was: ${lost}`);
}

function dropFor(id) {
  const lost = waiting.filter((job) => job.visit === id).at(-1).where;
  waiting.splice(0, waiting.length, ...waiting.filter((job) => job.visit !== id));
  return lost;
}

function notSaved(error = STOPPED) {
  stuck = true;
  complain(`${error}; what you typed last was: ${waiting.at(-1).where}`);
  byId("alarm").append(button("Try again", () => drain()));
  return false;
}

function complain(text) {
  shout(`NOT SAVED: ${text}.`);
  say("NOT SAVED", "not");
}

// A reply about a visit replaces what is on screen unless more was typed since.
function takeIn(fresh) {
  remember(fresh);
  if (!visit || fresh.id !== visit.id || waiting.some((job) => job.visit === fresh.id)) return;
  const shown = visit.pictures[index]?.id;
  visit = fresh;
  index = Math.max(0, visit.pictures.findIndex((picture) => picture.id === shown));
  render();
}

function remember({ id, version, generation }) {
  const before = newest.get(id);
  if (!before || version >= before.version || generation !== before.generation) newest.set(id, { version, generation });
}

// --- finding and showing a visit

// Those that were looked at and left untagged; in a spread order they come last.
let passed = [];

const fetchVisit = (go, id) => {
  const spread = go === "untagged" && inSpread;
  return getJson("api/visit", { go: spread ? "spread" : go, id, passed: spread ? passed.join() : "", ...filter });
};

let ahead = new Map();     // "next 123" -> promise of the reply
let readyPictures = new Map();

function lookAhead() {
  const before = ahead;
  ahead = new Map();
  const keep = (go, id) => {
    const key = `${go} ${id}`;
    const promise = before.get(key) ?? fetchVisit(go, id);
    ahead.set(key, promise);
    return promise.then((reply) => reply.body.visit ?? null);
  };
  const mine = ahead;
  const two = async (go) => {
    const first = await keep(go, visit.id);
    if (!first || mine !== ahead) return;
    ready(first);
    const second = await keep(go, first.id);
    if (second) ready(second);
  };
  two("untagged");
  two("next");
}

function ready({ pictures: [picture] }) {
  if (!picture || picture.clip || readyPictures.has(picture.id)) return;
  readyPictures.set(picture.id, pictureNode(picture, "screen", ""));
  if (readyPictures.size > 8) readyPictures.delete(readyPictures.keys().next().value);
}

async function find(go) {
  const known = await ahead.get(`${go} ${visit.id}`);
  const reply = known?.ok && !isStale(known.body.visit) ? known : await fetchVisit(go, visit.id);
  const another = reply.body.visit && reply.body.visit.id !== visit.id;
  if (go !== "untagged" || !reply.ok || another) return reply;
  // From the start again, for those skipped earlier; what is on screen counts as untagged until it is saved.
  return (await drain()) ? fetchVisit("untagged") : { ok: false, body: { error: STOPPED } };
}

// One fetched ahead may have been tagged since.
const isStale = (found) => found !== null && found.version < (newest.get(found.id)?.version ?? 0);

async function move(go, done = "") {
  if (!visit) return;
  if (!(await mayLeave())) return forgetTyped();
  const { ok, body } = await find(go);
  if (!ok) {
    forgetTyped();
    if (!stuck) shout(`${body.error}.`);
  } else if (!body.visit || body.visit.id === visit.id) {
    const none = go === "untagged" ? "No other untagged visit under this filter" : `No ${go} visit under this filter`;
    say(listed(done, none), done ? "saved" : "");
  } else {
    show(body, done);
  }
}

async function mayLeave() {
  if (stuck && !(await drain())) return false;
  if (refused !== visit.id || warned === visit.id) return true;
  warned = visit.id;
  shout("NOT SAVED: these tags were not accepted. Change them, or press the same key again to leave without them.");
  return false;
}

function show(reply, done = "") {
  if (visit && visit.state === "untagged") passed = [...passed.filter((id) => id !== visit.id), visit.id].slice(-200);
  if (refused !== null) hush();
  visit = reply.visit;
  place = reply.matching === undefined ? place : reply;
  [index, onlyThis, ageAwaited, agedAt, warned, refused, asked] = [0, false, false, -Infinity, null, null, ""];
  givenBefore = lastGiven;
  remember(visit);
  const query = new URLSearchParams(location.search);
  query.set("id", visit.id);
  history.replaceState(null, "", `?${query}`);
  if (!waiting.length) say(done, done ? "saved" : "");
  keepFocus(render);
  // A button pressed again by Enter would tag a visit that nobody has looked at.
  if (document.activeElement?.closest("#who, #line, #lines, #move, #strip, #known, #ages")) byId("heading").focus({ preventScroll: true });
  speak(done);
  lookAhead();
  refresh();
}

let refreshes = 0;

async function refresh() {
  const [mine, id] = [(refreshes += 1), visit.id];
  const { ok, body } = await fetchVisit("here", id);
  if (!ok || mine !== refreshes || id !== visit.id || waiting.length || refused === id) return;
  place = body;
  if (body.visit?.id === id) takeIn(body.visit);
  render();
}

function speak(done) {
  const tags = visit.tags.length ? tagsWords(visit.tags) : visit.state;
  const now = listed(whereAndWhen(visit), visit.light, tags, pictures(visit.pictures.length));
  byId("spoken").textContent = done ? `${done}. Now ${now}` : now;
}

// --- changing the tags

const current = () => (onlyThis ? visit.pictures[index].tags : visit.tags);

function setTags(tags) {
  const touched = onlyThis ? [visit.pictures[index]] : visit.pictures;
  for (const picture of touched) picture.tags = tags;
  const [first, ...rest] = visit.pictures.map((picture) => JSON.stringify(picture.tags));
  visit.mixed = rest.some((other) => other !== first);
  visit.tags = visit.mixed ? [] : tags;
  give(tags);
  asked = "";
  keepFocus(render);
  return save(tags);
}

// What "same again" gives: what was given last and not taken back.
function give(tags) {
  lastGiven = tags.length ? tags : givenBefore;
  sessionStorage.setItem("last-given", JSON.stringify(lastGiven));
}

// Tags go only after the same key was pressed twice.
function mayReplace(key, what) {
  const keyHere = `${key} ${visit.id} ${index}`;
  if (asked === keyHere) return true;
  asked = keyHere;
  say(`${what}; press again to replace that`, "not");
  return false;
}

const mayOverwrite = (key) => !visit.mixed || onlyThis || mayReplace(key, "The pictures carry different tags");

const newTag = (who, name = null) => ({ who, count: 1, age: null, name, note: null });

function addWho(who) {
  if (!mayOverwrite(who)) return;
  const lines = current().filter((tag) => tag.who !== "empty");
  const same = lines.findLast((tag) => tag.who === who && tag.age == null && !tag.name);
  const others = lines.filter((tag) => tag !== same);
  setTags([...others, same ? { ...same, count: same.count + 1 } : newTag(who)]);
}

// Seen by nobody: it came up only just now, by itself.
const isTooSoon = () => performance.now() - arrivedAt < 500;

const tooSoon = () => say("Look at this one first: it has only just come up");

async function tagNothing() {
  if (isTooSoon()) return tooSoon();
  const told = tagsWords(current());
  if (current().some((tag) => tag.who !== "empty") && !mayReplace("empty", `This carries ${told}`)) return undefined;
  if (!mayOverwrite("empty")) return undefined;
  const done = `Saved: nothing (${whereAndWhen(visit)})`;
  const fine = await setTags([newTag("empty")]);
  if (!fine) return forgetTyped();
  if (onlyThis) return undefined;
  await move("untagged", done);
  arrivedAt = performance.now();
  return undefined;
}

function changeLast(change, allowed = (tag) => tag.who !== "empty") {
  const last = current().at(-1);
  if (!last || !allowed(last)) return say(last ? `That does not go with ${WHO[last.who]}` : "First say who is on it");
  setTags([...current().slice(0, -1), { ...last, ...change }]);
}

const isDeer = (tag) => DEER.includes(tag.who);

function digit(text, at) {
  if (ageAwaited) {
    agedAt = at;
    return setAge(Number(text) + 0.5);
  }
  // Who types 3.5 or 10 for an age would else have said how many.
  if (at - agedAt < 1500) return drain().then(tellAge);
  if (text !== "0") return changeLast({ count: Number(text) });
}

const tellAge = () => say(`Age ${current().at(-1)?.age}; for another, choose the age class again`);

function awaitAge() {
  const last = current().at(-1);
  ageAwaited = Boolean(last && isDeer(last));
  render();
  say(ageAwaited ? "Age class: a digit, 0 for 0.5, 1 for 1.5 and so on" : "First say which deer is on it");
}

function setAge(age) {
  ageAwaited = false;
  changeLast({ age }, isDeer);
}

function setName(typed) {
  const known = knownName(typed);
  const name = known?.name ?? typed;
  const age = ageOf(known);
  const last = current().at(-1);
  if (!current().length && known && DEER.includes(known.who)) {
    if (known.who === "deer") return say(`Say first whether ${known.name} is a buck or a doe; then the name`, "not");
    if (!mayOverwrite("name")) return;
    setTags([{ ...newTag(known.who, name), age: known.who === "fawn" && age >= 1 ? null : age }]);
  } else {
    const carried = age !== null && last?.age == null && !(last?.who === "fawn" && age >= 1) ? { age } : {};
    changeLast({ name: name || null, ...carried }, isDeer);
  }
  if (!name) return;
  if (!known) desk.names.push({ name, who: current().at(-1)?.who, born: null, pictures: 0 });
  const others = JSON.parse(localStorage.getItem("last-named") ?? "[]").filter((other) => other !== name);
  localStorage.setItem("last-named", JSON.stringify([name, ...others].slice(0, 20)));
  if (!knownShown.some((deer) => deer.name === name) && knownShown.length < KNOWN) {
    knownShown.push(knownName(name));
    drawKnown();
  }
}

const knownName = (name) => desk.names.find((other) => other.name.toLowerCase() === name.toLowerCase());

// A name half typed must not become a deer of its own: said once more, it does.
function isDoubtful(name) {
  const begins = ({ name: other }) => other.toLowerCase().startsWith(name.toLowerCase());
  const alike = name && !knownName(name) ? desk.names.filter(begins).map((other) => other.name) : [];
  if (!alike.length || doubted === name) return false;
  doubted = name;
  byId("name-doubt").textContent = `There is no “${name}” yet, but ${listed(...alike)}. Type on for that, or press Enter again for a new deer.`;
  return true;
}

function removeLast() {
  if (current().length) return setTags(current().slice(0, -1));
  say(visit.mixed ? "The pictures differ; choose “this picture only” first" : "There is nothing to remove");
}

function repeat() {
  if (lastGiven.length && !mayOverwrite("repeat")) return;
  if (lastGiven.length) setTags(lastGiven.map((tag) => ({ ...tag })));
  else say("No tags were given yet");
}

// Work goes on at the last line, so choosing a line puts it last.
function chooseLine(tag) {
  const lines = [...current().filter((other) => other !== tag), tag];
  if (onlyThis) visit.pictures[index].tags = lines;
  else visit.tags = lines;
  keepFocus(render);
}

async function undo() {
  if (!(await drain())) return forgetTyped();
  const { ok, body } = await postJson("api/undo", {});
  if (!ok) {
    forgetTyped();
    return shout(`Not undone: ${body.error}.`);
  }
  hush();
  learn(body);
  ahead = new Map();
  if (body.visit) {
    newest.delete(body.visit.id);
    if (body.visit.id === visit?.id) {
      takeIn(body.visit);
      refresh();
    } else {
      show({ visit: body.visit });
    }
    give(body.visit.tags);
  }
  const now = body.visit ? `; now ${tagsWords(body.visit.tags)}` : "";
  say(body.undone ? `${body.undone}${now}` : "Nothing left to undo");
}

// --- keys and buttons

function flick(step) {
  index = Math.max(0, Math.min(visit.pictures.length - 1, index + step));
  keepFocus(render);
}

const DO = {
  age: awaitAge, repeat, remove: removeLast, empty: tagNothing,
  on: () => (isTooSoon() ? tooSoon() : move("untagged")), next: () => move("next"), previous: () => move("previous"),
  later: () => flick(1), earlier: () => flick(-1),
  one: () => { onlyThis = !onlyThis; keepFocus(render); },
  large: () => toggleZoom(visit.pictures[index].moved),
  bright: () => pressed("bright", toggleStretch()),
};
const AT_ONCE = { name: openNaming, help: openKeys };

function doAction(action) {
  if (AT_ONCE[action]) return AT_ONCE[action]();
  const at = performance.now();
  act(() => {
    if (action === "undo") return undo();
    if (!visit) return undefined;
    if (ageAwaited && action !== "age" && !/^\d$/.test(action)) closeAges();
    if (/^\d$/.test(action)) return digit(action, at);
    agedAt = -Infinity;
    return DO[action] ? DO[action]() : addWho(action);
  });
}

function pressed(action, on) {
  actionButton(action).setAttribute("aria-pressed", on);
}

function onKey(event) {
  if (event.key === "Escape" && !document.querySelector("dialog[open]")) return leaveField();
  const nth = knownByKey(event);
  if (nth) {
    event.preventDefault();
    return nameKnown(nth);
  }
  const action = actionFor(event);
  if (!action) return;
  event.preventDefault();
  const mayRepeat = ["later", "earlier", "next", "previous"].includes(action);
  if (!event.repeat || mayRepeat) doAction(action);
}

// The digits' own keys with Shift, whatever a layout prints on them.
function knownByKey(event) {
  const isPlain = event.shiftKey && !event.ctrlKey && !event.metaKey && !event.altKey;
  if (!isPlain || !desk.keys_on || isTyping() || document.querySelector("dialog[open]")) return null;
  return knownShown[Number(/^Digit([1-6])$/.exec(event.code)?.[1]) - 1] ?? null;
}

const KNOWN = 6;
let knownShown = [];

// Those that were named last come first; they change places only when the page is opened.
function buildKnown() {
  const last = JSON.parse(localStorage.getItem("last-named") ?? "[]");
  const order = ({ name, pictures: count }) => [last.includes(name) ? last.indexOf(name) : last.length, -count];
  const all = [...desk.names].sort((a, b) => order(a)[0] - order(b)[0] || order(a)[1] - order(b)[1]);
  knownShown = all.slice(0, KNOWN);
  drawKnown();
}

function drawKnown() {
  const slots = [...Array(KNOWN).keys()].map((at) => {
    const deer = knownShown[at];
    if (!deer) return el("span", { className: "slot" });
    const node = button("", () => nameKnown(deer), { onmousedown: (event) => event.preventDefault(), title: deer.name, "aria-keyshortcuts": `Shift+${at + 1}` });
    node.append(el("span", {}, deer.name), el("kbd", {}, `⇧${at + 1}`));
    return node;
  });
  byId("known").replaceChildren(...slots);
}

function nameKnown({ name }) {
  act(() => visit && setName(name));
}

// The age that a known deer has on the day of the visit; fawns are born about the beginning of June.
function ageOf(known) {
  if (known?.born == null || !visit.day) return null;
  const [year, month] = visit.day.split("-").map(Number);
  const age = year - (month < 6 ? 1 : 0) - known.born + 0.5;
  return age > 0 && age <= 20 ? age : null;
}

function leaveField() {
  if (ageAwaited) act(closeAges);
  if (!byId("naming").hidden) closeNaming();
  else if (isTyping()) byId("heading").focus();
}

function closeAges() {
  ageAwaited = false;
  keepFocus(render);
  say("");
}

// The field opens at once, so that letters typed right after never count as keys.
function openNaming() {
  if (ageAwaited) act(closeAges);
  byId("names").replaceChildren(...desk.names.map(({ name }) => el("option", { value: name })));
  byId("naming").hidden = false;
  const last = visit ? current().at(-1) : null;
  byId("name-of").textContent = last && isDeer(last) ? `Name of this ${last.who}` : "Name of this deer";
  [byId("name").value, byId("name").defaultValue] = [last?.name ?? "", last?.name ?? ""];
  byId("name-doubt").textContent = doubted = "";
  byId("name").select();
  byId("name").focus();
}

function closeNaming() {
  byId("naming").hidden = true;
  byId("heading").focus();
}

function buildButtons() {
  const put = (id, actions) => byId(id).append(...actions.map((action) => keyButton(action, () => doAction(action))));
  put("who", Object.keys(WHO));
  put("line", ["age", "name", "remove", "repeat", "one", "undo"]);
  put("move", ["on", "previous", "next", "earlier", "later"]);
  // There is no room for their keys; the page Keys and "?" list them.
  for (const hint of byId("move").querySelectorAll("button:not([data-action=on]) kbd")) hint.remove();
  put("look", ["large", "bright"]);
  const more = (text, step) => button(text, () => act(() => step(current().at(-1)?.count ?? 0)));
  byId("line").prepend(more("+ one", (n) => changeLast({ count: n + 1 })),
    more("− one", (n) => (n > 1 ? changeLast({ count: n - 1 }) : removeLast())));
  byId("look").append(button("", () => doAction("help"), { "data-action": "help" }), lightDialog());
  byId("look").querySelector("[data-action=help]").append(el("span", {}, "keys"), el("kbd", {}, "?"));
  const order = button("spread", () => {
    inSpread = !inSpread;
    localStorage.setItem("order", inSpread ? "spread" : "");
    order.setAttribute("aria-pressed", inSpread);
    ahead = new Map();
    if (visit) lookAhead();
    say(inSpread ? "The next untagged visit is one of another camera and week" : "The next untagged visit is the next one in time");
  }, { onmousedown: (event) => event.preventDefault(), title: "Visits spread over cameras and weeks, so that the share so far is soon near the truth", "aria-pressed": String(inSpread) });
  byId("look").append(order);
  const ages = [...Array(8).keys()].map((year) => year + 0.5);
  byId("ages").append(...ages.map((age) => button(String(age).replace("0.5", "½").replace(".5", "½"), () => act(() => setAge(age)), { "aria-label": `age ${age}`, "data-age": age })),
    button("?", () => act(() => setAge(null)), { "aria-label": "age not known" }));
  byId("naming").onsubmit = (event) => {
    event.preventDefault();
    const name = byId("name").value.trim();
    if (isDoubtful(name)) return;
    closeNaming();
    if (name !== byId("name").defaultValue) act(() => visit && setName(name));
  };
  byId("leave-name").onclick = closeNaming;
}

function lightDialog() {
  const slider = (words, name, most) => {
    const input = el("input", { type: "range", min: 0.5, max: most, step: 0.05, value: 1, oninput: () => { setLight(name, Number(input.value)); pressed("bright", false); } });
    return el("label", {}, words, input);
  };
  return el("details", { className: "light" }, el("summary", {}, "light"),
    el("div", {}, slider("brightness", "brightness", 4), slider("contrast", "contrast", 4)));
}

// --- drawing

function keepFocus(draw) {
  const before = document.activeElement;
  draw();
  const lost = !before?.isConnected || before.closest("[hidden]");
  if (lost) byId("heading").focus({ preventScroll: true });
}

function render() {
  byId("desk").hidden = !visit;
  byId("none").hidden = Boolean(visit);
  if (!visit) return drawNone();
  const picture = visit.pictures[index];
  byId("heading").textContent = whereAndWhen(visit, picture.time);
  byId("facts").textContent = facts();
  byId("under").textContent = visit.pictures.length > 1 ? `${picture.file}, ${index + 1} of ${visit.pictures.length}` : picture.file;
  drawPicture(picture);
  drawStrip();
  drawLines();
  drawAges();
  for (const action of ["one", "earlier", "later"]) actionButton(action).disabled = visit.pictures.length < 2;
  byId("so-far").textContent = place?.so_far ?? "";
  drawDay();
  byId("others").replaceChildren(...visit.others.map(other));
  document.title = `${desk.counts.untagged} untagged - Visits - Graylight`;
}

function drawAges() {
  const last = current().at(-1);
  byId("ages").classList.toggle("awaited", ageAwaited);
  for (const node of byId("ages").children) {
    node.setAttribute("aria-pressed", Boolean(last) && last.age !== null && Number(node.dataset.age) === last.age);
  }
}

// What to do where there is nothing to tag.
function drawNone() {
  const { counts } = desk;
  const link = (page, words) => el("a", { href: page }, words);
  const isFiltered = Object.keys(filter).length > 0;
  byId("none-words").replaceChildren(...(isFiltered ? ["No visit matches this filter. ", link("visits.html", "Show every visit")]
    : counts.pictures ? ["No visit yet."] : ["No picture yet. ", link("cards.html", "Pull a card"), ", or put each camera's pictures into a folder of its own in cards/."]));
}

function drawDay() {
  const day = byId("day");
  day.classList.toggle("away", !visit.strip);
  if (visit.strip) drawLight(day, { ...visit.strip, ticks: [visit.strip.at] }, `${visit.to_sun}, ${visit.light}`);
}

function facts() {
  const where = place ? `${Math.min(visit.position, place.matching)} of ${place.matching}, ${place.untagged} untagged` : null;
  const quiet = visit.quiet && visit.state === "untagged" ? "probably nothing" : null;
  const until = visit.until && visit.until !== visit.time ? `until ${visit.until}` : null;
  return [where, until, visit.light, visit.to_sun, quiet].filter(Boolean).join(" · ");
}

let drawn = null;

function drawPicture(picture) {
  if (drawn === picture.id) return showMoved(picture.moved);
  drawn = picture.id;
  const alt = `${whereAndWhen(visit, picture.time)}, ${picture.file}`;
  const node = readyPictures.get(picture.id) ?? pictureNode(picture, "screen", alt);
  const image = node.querySelector("img");
  if (image) image.alt = alt;
  byId("picture").replaceChildren(node);
  shown(picture.moved);
}

let stripFor = null;

function drawStrip() {
  const strip = byId("strip");
  strip.hidden = visit.pictures.length < 2;
  if (stripFor !== visit.id) {
    strip.replaceChildren(...(strip.hidden ? [] : visit.pictures.map(stripItem)));
    stripFor = visit.id;
  }
  [...strip.children].forEach((item, at) => {
    const { time, tags } = visit.pictures[at];
    item.firstChild.setAttribute("aria-current", at === index);
    item.querySelector("span").textContent = visit.mixed ? `${at + 1}. ${tagsWords(tags)}` : time ?? `${at + 1}.`;
  });
}

function stripItem(picture, at) {
  const go = () => act(() => flick(at - index));
  const node = el("button", { type: "button", onclick: go, onmousedown: (event) => event.preventDefault() },
    pictureNode(picture, "small", ""), el("span"));
  return el("li", {}, node);
}

function drawLines() {
  const tags = current();
  byId("lines").replaceChildren(...tags.map((tag, at) => line(tag, at === tags.length - 1, tags.length)));
  byId("whole").textContent = wholeWords(tags);
  actionButton("one").setAttribute("aria-pressed", onlyThis);
  const last = tags.at(-1);
  actionButton("remove").title = last ? `remove ${last.who === "empty" ? "nothing" : last.who}` : "remove";
}

const actionButton = (action) => document.querySelector(`[data-action=${action}]`);

function line(tag, last, of) {
  const node = button(tagWords(tag), () => act(() => chooseLine(tag)), { onmousedown: (event) => event.preventDefault() });
  if (of > 1) node.append(last ? " (keys change this line)" : " (choose)");
  if (of > 1 && last) node.setAttribute("aria-current", "true");
  return el("li", {}, node);
}

function wholeWords(tags) {
  const scope = onlyThis ? "This picture only." : visit.pictures.length > 1 ? `All ${visit.pictures.length} pictures.` : "";
  if (visit.mixed && !onlyThis) return "The pictures carry different tags, see under each. A key now gives all of them the same.";
  const elsewhere = visit.state === "tagged" && !onlyThis;
  const none = elsewhere ? "Not tagged here; what is said elsewhere counts. " : "Untagged. ";
  return `${tags.length ? "" : none}${scope}`;
}

function other({ origin, says, picture, conflict }) {
  const words = `${says}, according to ${origin}${picture ? ` (${picture})` : ""}`;
  return el("li", { className: conflict ? "conflict" : "" }, conflict ? `In conflict: ${words}` : words);
}

let tappedAt = -Infinity;

// Twice on the same place, as on every touch screen.
function zoomTap(event) {
  const now = performance.now();
  if (now - tappedAt < 350) toggleZoom(visit.pictures[index].moved);
  tappedAt = now;
}

// --- opening the page

async function firstVisit() {
  const id = new URLSearchParams(location.search).get("id");
  const asked = id ? await fetchVisit("here", id) : null;
  if (asked?.body.visit) return asked;
  const untagged = await fetchVisit("untagged");
  return untagged.ok && !untagged.body.visit ? fetchVisit("here") : untagged;
}

function startAnew() {
  const query = new URLSearchParams(location.search);
  query.delete("id");
  location.search = query;
}

async function open() {
  if (!(await start())) return;
  buildFilter(filter);
  buildButtons();
  buildKnown();
  listen((event) => { if (event.pointerType === "mouse" || !visit) return; zoomTap(event); });
  byId("picture").addEventListener("dblclick", (event) => zoomBy(2.5, event.clientX, event.clientY));
  const { ok, body } = await firstVisit();
  if (!ok) shout(`${body.error}.`);
  else if (body.visit) show(body);
  else render();
  document.addEventListener("keydown", onKey);
  window.addEventListener("beforeunload", (event) => { if (waiting.length) event.preventDefault(); });
  watch({
    busy: () => waiting.length > 0 || refused !== null || isTyping(),
    refresh: () => { ahead = new Map(); if (visit) refresh(); },
    renewed: startAnew,
    stopped: () => (waiting.length ? notSaved() : shout(`${STOPPED}.`)),
    back: () => drain(),
  });
}

open();
