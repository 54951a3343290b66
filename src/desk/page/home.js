// Home: what is to be done next, how far things are, and which properties there are.

import { byId, el, getJson, postJson, say, shout, hush, button, pictures } from "./shared.js";
import { chooseFolder, openStarting } from "./start.js";

const count = (n, one, many = `${one}s`) => (n === 1 ? `1 ${one}` : `${n} ${many}`);

// Each step: how it stands in words, whether something is to be done, and where.
function steps(open, cardsInReader) {
  const { pulls, counts, report } = open;
  const untagged = counts.untagged;
  const doubted = report.clocks_in_doubt;
  return [
    {
      page: "cards.html",
      words: cardsInReader ? `${count(cardsInReader, "card is", "cards are")} in the reader: pull ${cardsInReader === 1 ? "it" : "them"}`
        : pulls.last ? `${count(pulls.on_last, "card")} pulled on ${pulls.last}, ${pulls.all} in all` : counts.pictures
          ? `${pictures(counts.pictures)} here; no card was pulled with Graylight yet` : "No picture yet: put a card into the reader",
      todo: cardsInReader > 0 || counts.pictures === 0,
      does: "Cards",
    },
    {
      page: "clocks.html",
      words: doubted === null ? "Clocks are being looked at…"
        : doubted.length ? `${count(doubted.length, "clock")} in doubt: ${doubted.join(", ")}` : "No clock in doubt",
      todo: Boolean(doubted?.length),
      does: "Clocks",
    },
    {
      page: "visits.html",
      words: counts.visits === 0 ? "No visits yet"
        : untagged ? `${untagged} of ${count(counts.visits, "visit")} untagged` : `All ${count(counts.visits, "visit")} tagged`,
      todo: untagged > 0,
      does: "Visits",
    },
    {
      page: "log.html",
      words: [open.logged ? `${count(open.logged, "thing")} logged that happened` : "Nothing logged that happened",
        open.without_place.length ? `${count(open.without_place.length, "camera")} without a place` : null].filter(Boolean).join("; "),
      todo: open.without_place.length > 0,
      does: "Log",
    },
    {
      page: "debrief.html",
      words: report.failed ? `The debrief cannot be made: ${report.failed}` : report.made && report.fresh ? `The debrief is up to date, made ${report.made}`
        : report.making ? "The debrief is being made…" : "The debrief is made when you look at it",
      todo: Boolean(report.failed),
      does: "Debrief",
      more: open.saved_report ? `saved in reports on ${open.saved_report}` : null,
    },
  ];
}

let shown = "";

function render(home) {
  const now = JSON.stringify(home);
  if (now === shown) return;
  shown = now;
  byId("now").hidden = !home.open;
  if (home.open) {
    byId("now-heading").textContent = home.open.name;
    byId("property").textContent = home.open.name;
    byId("where-it-lies").textContent = home.open.path;
    const all = steps(home.open, home.cards_to_pull);
    const next = all.find((step) => step.todo);
    byId("steps").replaceChildren(...all.map((step) => stepItem(step, step === next)));
    const lost = home.open.lost.rows;
    if (home.open.error) shout(`${home.open.error}.`);
    else if (lost) shout(`${count(lost, "row")} you tagged ${lost === 1 ? "is" : "are"} gone from tags.csv.`, el("a", { href: "visits.html" }, "Put back or let go"));
    else hush();
  }
  if (home.problem) shout(home.problem);
  byId("known").replaceChildren(...home.known.map((known) => knownItem(known, home.open)));
  if (!home.known.length && !home.open) byId("known").replaceChildren(el("li", {}, "None yet. Start one: a name, where it is, and a folder for its pictures."));
}

function stepItem({ page, words, todo, does, more }, isNext) {
  return el("li", { className: todo ? "todo" : "done" },
    el("a", { href: page }, does), " ",
    el("span", {}, words, more ? el("small", {}, ` (${more})`) : null),
    isNext ? el("strong", { className: "next" }, "next") : null);
}

function knownItem({ path, name, there }, open) {
  const isOpen = open?.path === path;
  const words = isOpen ? el("em", {}, "open") : there
    ? button("Open", () => openProperty(path), { "aria-label": `Open ${name}` })
    : el("em", {}, "not there now: is its drive connected?");
  const forget = isOpen ? null : button("Forget", async () => {
    const { ok, body } = await postJson("api/forget", { path });
    if (ok) render(body);
  }, { "aria-label": `Forget ${name}`, title: "Take it off this list; nothing of it is touched" });
  return el("li", {}, el("strong", {}, name), " ", el("span", { className: "path" }, path), " ", words, " ", forget);
}

export async function openProperty(path) {
  say("Opening; the first time every picture is read…");
  const { ok, body } = await postJson("api/open", { path }, 600000);
  if (!ok) {
    say("");
    return shout(`Not opened: ${body.error}.`);
  }
  hush();
  say(`${body.name} is open`, "saved");
  await look();
  byId("now-heading").closest("section").querySelector("a")?.focus();
}

async function look() {
  const { ok, status, body } = await getJson("api/home");
  if (ok) render(body);
  else if (status === 0) shout(`${body.error}.`);
  return body;
}

byId("open-other").onclick = () => chooseFolder("Open which property?", "Open this", openProperty, { property: true });
byId("start-new").onclick = () => openStarting(openProperty);
const first = await look();
if (first && !first.known?.length && !first.open) openStarting(openProperty);
setInterval(() => { if (!document.hidden) look(); }, 2000);
