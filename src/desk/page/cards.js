// Cards: what is in the reader, the pull, its receipts.

import { byId, el, getJson, postJson, say, shout, hush, button, start, watch } from "./shared.js";
import { chooseFolder } from "./start.js";

let asked = null;   // the question that a card raised
let seen = "";      // what is drawn

const mega = (bytes) => (bytes >= 1e9 ? `${(bytes / 1e9).toFixed(1)} GB` : `${Math.max(1, Math.round(bytes / 1e6))} MB`);

function left(pull) {
  if (!pull.bytes || pull.seconds < 2) return "";
  const seconds = (pull.seconds / pull.bytes) * (pull.of_bytes - pull.bytes);
  return seconds < 90 ? `, about ${Math.max(1, Math.round(seconds))} s left` : `, about ${Math.round(seconds / 60)} min left`;
}

async function pull(card, camera = null, evenSo = false) {
  hush();
  const { ok, body } = await postJson("api/pull", { card, camera, even_so: evenSo }, 120000);
  if (!ok) return shout(`${body.error}.`);
  asked = body.question ? body : null;
  drawQuestion();
  if (!asked) say("");
  return look();
}

function drawQuestion() {
  byId("question").hidden = !asked;
  if (!asked) return;
  byId("question-words").textContent = `The card ${asked.name}: ${asked.question}`;
  byId("candidates").replaceChildren(...asked.candidates.map(candidate));
  byId("other-camera").elements.camera.value = asked.named ?? "";
  byId("question-words").focus();
}

function candidate({ camera, why, against }) {
  const words = [why.join(", "), against.length ? `but ${against.join("; ")}` : ""].filter(Boolean).join("; ");
  return el("li", {}, button(camera, () => pull(asked.card, camera, true)), words ? ` ${words}` : "");
}

function draw({ cards, pull: job, receipts, cameras }) {
  const busy = job && !job.done;
  const now = JSON.stringify([cards, busy, receipts, job?.receipt, job?.error]);
  drawPull(job, busy);
  if (now === seen) return;
  seen = now;
  byId("cameras").replaceChildren(...cameras.map((camera) => el("option", { value: camera })));
  const found = cards.map(({ path, name, pulled }) => el("div", { className: "card" },
    el("p", {}, el("strong", {}, name), " ", el("span", { className: "path" }, path), pulled ? " is pulled: clear it in its camera" : ""),
    button(pulled ? "Pull it again" : "Pull this card", () => pull(path), { className: pulled ? "" : "main", disabled: Boolean(busy) })));
  const none = el("p", {}, "No card is in the reader. Put one in: it shows up here by itself.");
  byId("reader").replaceChildren(...(found.length ? found : [none]),
    el("p", {}, button("Choose a folder instead", () => chooseFolder("Which folder is the card?", "Pull this", (path) => pull(path)))));
  byId("receipts").replaceChildren(...(receipts.length ? receipts.map(receiptItem) : [el("li", {}, "No card was pulled yet.")]));
}

function drawPull(job, busy) {
  byId("pulling").hidden = !job;
  if (!job) return;
  byId("pulling-heading").textContent = busy ? `Pulling the card of ${job.camera}`
    : job.error ? `The card of ${job.camera} was not pulled to the end`
      : job.lost ? `${job.lost} files of ${job.camera}'s card did not arrive` : `The card of ${job.camera} is pulled`;
  byId("bar").hidden = byId("stop").hidden = !busy;
  byId("bar").value = job.of_bytes ? job.bytes / job.of_bytes : 0;
  byId("far").textContent = busy
    ? (job.of_files ? `${job.files} of ${job.of_files} files, ${mega(job.bytes)} of ${mega(job.of_bytes)}${left(job)}. Each is read back and compared; you may close this tab.` : "Looking at what is on the card…")
    : job.error ? `${sentence(job.error)} What was copied until then is safe; do not clear the card.`
      : job.lost ? "Do not clear the card; the receipt names them." : `${job.files} files, each read back and compared. The receipt is below.`;
}

const sentence = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1).replace(/\.$/, "")}.`;

function receiptItem({ pull: name, date, camera, copied, already_had: had, lost }) {
  const words = `${date ?? name}: ${camera}, ${copied} copied${had ? `, ${had} were here already` : ""}${lost ? `, ${lost} DID NOT ARRIVE` : ""}`;
  return el("li", { className: lost ? "bad" : "" }, button(words, () => openReceipt(name), { className: "link" }));
}

async function openReceipt(name) {
  const { ok, body } = await getJson("api/receipt", { pull: name });
  if (!ok) return shout(`${body.error}.`);
  byId("receipt").hidden = false;
  byId("receipt").textContent = body.text;
  byId("receipt").focus();
}

async function look() {
  const { ok, status, body } = await getJson("api/cards");
  if (ok) draw(body);
  else if (status === 0) shout(`${body.error}.`);
}

if (await start()) {
  byId("other-camera").onsubmit = (event) => {
    event.preventDefault();
    const camera = event.target.elements.camera.value.trim();
    // The same name once more, after the question about it, is an answer.
    if (camera) pull(asked.card, camera, camera === asked.named);
  };
  byId("stop").onclick = async () => {
    const { ok, body } = await postJson("api/pull/stop", {});
    if (!ok) shout(`${body.error}.`);
    return look();
  };
  byId("leave-question").onclick = () => { asked = null; drawQuestion(); };
  await look();
  watch({ busy: () => false, refresh: () => {} });
  setInterval(() => { if (!document.hidden) look(); }, 1000);
}
