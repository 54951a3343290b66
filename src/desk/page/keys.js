// The keys: see them, change them, or switch single keys off.

import { ACTIONS, actions, desk, byId, el, postJson, say, shout, hush, button, start, watch, keyWords, table } from "./shared.js";

// Digits are counts, and the rest moves about the page or belongs to the browser.
const TAKEN = /^([0-9]|Tab|Escape| |Shift|Control|Alt|AltGraph|Meta|CapsLock|Dead|Unidentified|Process)$/;
const MODIFIERS = /^(Shift|Control|Alt|AltGraph|Meta|CapsLock)$/;

let changing = null;

async function save(keys, keysOn, words) {
  const { ok, body } = await postJson("api/keys", { keys, keys_on: keysOn });
  if (ok) {
    hush();
    Object.assign(desk, { keys: body.keys, keys_on: body.keys_on });
    say(`Saved: ${words}`, "saved");
  } else {
    shout(`NOT SAVED: ${body.error}.`);
    say("NOT SAVED", "not");
  }
  draw();
}

function onKey(event) {
  if (!changing || event.repeat || MODIFIERS.test(event.key)) return;
  event.preventDefault();
  if (event.key === "Escape") return leave("Left as it was");
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const problem = refusal(key, event);
  if (problem) return say(problem, "not");
  const action = changing;
  leave("Saving…");
  save({ ...desk.keys, [action]: key }, desk.keys_on, `${ACTIONS[action] ?? action} is now ${keyWords(key)}`)
    .then(() => byId(`change-${action}`).focus());
}

function refusal(key, event) {
  if (event.ctrlKey || event.altKey || event.metaKey) return "A key together with Ctrl, Alt or Command cannot be used; press another";
  if (TAKEN.test(key)) return `${keyWords(key)} cannot be used; press another key`;
  const other = Object.keys(desk.keys).find((action) => action !== changing && desk.keys[action] === key);
  return other ? `${keyWords(key)} is already the key for ${ACTIONS[other] ?? other}; press another key` : null;
}

function leave(text) {
  const action = changing;
  changing = null;
  say(text);
  draw();
  byId(`change-${action}`).focus();
}

function change(action) {
  changing = action;
  draw();
  byId(`change-${action}`).focus();
  say(`Press the new key for ${ACTIONS[action] ?? action}. Escape leaves it as it was.`);
}

function draw() {
  byId("on").checked = desk.keys_on;
  byId("keys").replaceChildren(table("What each key does", ["What", "Key", "Change"], actions().map(row)));
}

function row(action) {
  const words = ACTIONS[action] ?? action;
  const text = changing === action ? "Press a key" : "Change";
  return [words, el("kbd", {}, keyWords(desk.keys[action])),
    button(text, () => change(action), { id: `change-${action}`, "aria-label": `${text}: ${words}` })];
}

async function open() {
  if (!(await start())) return;
  draw();
  byId("on").onchange = () =>
    save(desk.keys, byId("on").checked, byId("on").checked ? "single keys work" : "single keys are off");
  document.addEventListener("keydown", onKey);
  watch({ busy: () => changing !== null, refresh: () => {} });
}

open();
