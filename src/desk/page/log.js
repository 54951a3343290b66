// The log: what happened, sits, stands, where cameras hung and the like, each kept in a file that a spreadsheet can change as well.

import { byId, el, getJson, postJson, say, shout, hush, button, start, learn, watch, table } from "./shared.js";
import { loadLand, sketch } from "./sketch.js";

const WORDS = {
  disturbances: "What happened",
  sits: "Sits",
  stands: "Stands",
  cameras: "Where cameras hung",
  grounds: "Ground, inside and outside the fence",
  questions: "Asked beforehand",
};

const MOST_SHOWN = 15;

let tables = {};
const whole = new Set();  // tables of which every row is shown
let editing = null;  // { table, row, check, cells, error, column }

// --- fetching and saving

async function load() {
  const { ok, body } = await getJson("api/log");
  if (!ok) return shout(`${body.error}.`);
  tables = body.tables;
  draw();
}

async function save(form) {
  for (const field of form.querySelectorAll("[name]")) editing.cells[field.name] = field.value.trim();
  say("Saving…");
  const { table: name, row, check, cells } = editing;
  const { ok, status, body } = await postJson("api/log", { table: name, row, check, cells });
  if (ok) return saved(body);
  say("NOT SAVED", "not");
  if (status === 422) return refused(body);
  shout(`NOT SAVED: ${body.error}.`);
  if (status === 409) takeUpAgain(body.tables);
}

// Two presses: what is taken out is gone from the file.
async function takeOut(pressed) {
  if (pressed.dataset.sure !== "yes") {
    pressed.dataset.sure = "yes";
    pressed.textContent = "Take it out of the file for good";
    return;
  }
  const { table: name, row, check } = editing;
  const { ok, status, body } = await postJson("api/log", { table: name, row, check, take_out: true });
  if (ok) return saved(body, "Taken out");
  shout(`NOT TAKEN OUT: ${body.error}.`);
  if (status === 409) takeUpAgain(body.tables);
}

function saved(body, word = "Saved") {
  loadLand();
  const name = editing.table;
  editing = null;
  tables = body.tables;
  hush();
  learn(body);
  draw();
  byId(`${name}-heading`).focus();
  say(word, "saved");
}

function refused({ error, column }) {
  hush();
  editing.error = error;
  editing.column = column;
  if (!tables[editing.table].columns.some(({ name }) => name === column)) shout(`NOT SAVED: ${error}.`);
  draw();
  toField(column);
}

// The first field where the server named none.
function toField(column) {
  const field = byId(fieldId(column)) ?? byId("tables").querySelector("form [name]");
  field.focus();
  field.parentElement.scrollIntoView({ block: "center" });
}

// The file changed meanwhile: the row may have moved, so what was typed is offered again where it is surely meant.
function takeUpAgain(fresh) {
  const { columns, rows } = tables[editing.table];
  const id = columns[0].name;
  const before = rows.find(({ row }) => row === editing.row)?.cells[id];
  const alike = fresh[editing.table].rows.filter(({ cells }) => cells[id] === before);
  const now = alike.find(({ check }) => check === editing.check) ?? (alike.length === 1 ? alike[0] : null);
  tables = fresh;
  editing = { ...editing, row: now?.row ?? null, check: now?.check ?? null };
  draw();
  say(now || before === undefined ? "Look again, then save" : "That row is not found again in the file; saving adds it as a new one");
}

// --- editing

function edit(name, row, cells, focus) {
  if (hasTyped()) {
    say("First save the row you have begun, or leave it", "not");
    return toField();
  }
  editing = { table: name, row: row?.row ?? null, check: row?.check ?? null, cells: { ...cells }, begun: cells };
  draw();
  toField(focus);
}

function hasTyped() {
  const fields = [...byId("tables").querySelectorAll("form [name]")];
  return fields.some((field) => field.value.trim() !== (editing.begun[field.name] ?? ""));
}

function leave() {
  const name = editing.table;
  editing = null;
  hush();
  say("");
  draw();
  byId(`${name}-heading`).focus();
}

const fieldId = (column) => `field-${column}`;

function today() {
  const at = new Date();
  const two = (number) => String(number).padStart(2, "0");
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;
}

// --- drawing

function showAll(name) {
  whole.add(name);
  draw();
  byId(`${name}-heading`).focus();
}

function draw() {
  byId("tables").replaceChildren(...Object.keys(WORDS).map(section));
}

function section(name) {
  const { file, columns, rows, problems } = tables[name];
  const adding = editing?.table === name && editing.row === null;
  const first = columns[0].name;
  return el("section", { "aria-labelledby": `${name}-heading` },
    el("h2", { id: `${name}-heading`, tabIndex: -1 }, WORDS[name]),
    ...problems.map((text) => el("p", { className: "error" }, `Problem in ${file}: ${text}`)),
    rows.length ? rowsTable(name) : el("p", {}, "Nothing is written down yet."),
    rows.length > MOST_SHOWN && !whole.has(name) ? el("div", { className: "keys" }, button(`Show all ${rows.length} rows`, () => showAll(name))) : null,
    editing?.table === name ? form(name) : null,
    adding ? null : el("div", { className: "keys" }, button("Add a row", () => edit(name, null, {}, first))));
}

// A season of sits would push everything after it off the page: only the last rows are shown at first.
function rowsTable(name) {
  const { file, rows: all } = tables[name];
  const rows = whole.has(name) ? all : all.slice(-MOST_SHOWN);
  const columns = tables[name].columns.filter((column) => rows.some(({ cells }) => cells[column.name]));
  return table(`${WORDS[name]} (kept in ${file})`, [...columns.map(({ words }) => words), "Change"],
    rows.map((row) => [...columns.map((column) => row.cells[column.name] ?? ""), rowButtons(name, row)]));
}

function rowButtons(name, row) {
  const { columns } = tables[name];
  const words = columns.slice(0, 2).map((column) => row.cells[column.name]).filter(Boolean).join(", ");
  const change = button("Change", () => edit(name, row, row.cells, columns[0].name), { "aria-label": `Change ${words}` });
  const open = name === "disturbances" && !row.cells.end;
  const ended = () => edit(name, row, { ...row.cells, end: today() }, "end");
  return el("div", { className: "keys" }, change,
    open ? button("Ended today", ended, { "aria-label": `Ended today: ${words}` }) : null,
    row.problem ? el("p", { className: "error" }, `Problem: ${row.problem}`) : null);
}

function form(name) {
  const { columns } = tables[name];
  const node = el("form", { className: "fields", noValidate: true }, el("h3", {}, editing.row === null ? "A new row" : "Change this row"),
    ...columns.map(field), el("div", { className: "keys" }, el("button", {}, "Save"), button("Leave without saving", leave),
      editing.row === null ? null : button("Take this row out", (event) => takeOut(event.target))));
  const place = ["latitude", "longitude"].map((column) => node.elements[column]);
  const drawing = place.every(Boolean) ? sketch(place) : null;
  if (drawing) node.insertBefore(drawing, node.lastChild);
  node.onsubmit = (event) => {
    event.preventDefault();
    save(node);
  };
  return node;
}

function field(column) {
  const id = fieldId(column.name);
  const wrong = editing.column === column.name && editing.error;
  const input = control(column, editing.cells[column.name] ?? "");
  Object.assign(input, { id, name: column.name, required: column.required });
  input.setAttribute("aria-describedby", `${id}-help`);
  if (wrong) input.setAttribute("aria-invalid", "true");
  // A calendar needs no word of how a date is written.
  const help = input.type === "text" ? column.help : column.help?.replace(/^\d{4}-\d\d-\d\d(T\d\d:\d\d)?(, or \S+)?( by the clock on the wall)?\.? ?/, "");
  return el("div", {}, el("label", { htmlFor: id }, `${column.words}${column.required ? " (needed)" : ""}`), input,
    el("p", { id: `${id}-help`, className: wrong ? "error" : "help" }, wrong ? `Not saved: ${wrong}` : help ?? ""));
}

function control(column, value) {
  if (column.kind === "choice") {
    const choices = [...new Set(["", value, ...column.choices])];
    const select = el("select", {}, ...choices.map((text) => el("option", { value: text }, text || "not said")));
    select.value = value;
    return select;
  }
  // A date field would silently drop what a spreadsheet wrote in another form.
  const isPlainDate = /^(\d{4}-\d\d-\d\d)?$/.test(value);
  const isPlainMoment = /^(\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?)?$/.test(value);
  const isMoment = column.kind === "date-time" && editing.table === "sits";
  const type = isMoment && isPlainMoment ? "datetime-local" : column.kind.startsWith("date") && !isMoment && isPlainDate ? "date" : "text";
  return el("input", { type, value, autocomplete: "off", inputMode: column.kind === "number" ? "decimal" : "" });
}

async function open() {
  if (!(await start())) return;
  await Promise.all([loadLand(), load()]);
  watch({ busy: () => editing !== null, refresh: load });
}

open();
