// The debrief, made in the background while it is looked at.

import { byId, getJson, postJson, shout, hush, start } from "./shared.js";

let number = null;

// The page is loaded anew at the place where it was.
function load(made) {
  const frame = byId("report");
  const at = frame.contentWindow?.scrollY ?? 0;
  const first = number === null;
  number = made;
  frame.hidden = false;
  frame.onload = () => { if (!first) frame.contentWindow.scrollTo(0, at); };
  frame.src = `report/report.html?made=${made}`;
}

async function look() {
  const { ok, status, body } = await getJson("api/report");
  if (!ok) {
    if (status === 0) shout(`${body.error}.`);
    return;
  }
  const { failed, fresh, making, made } = body;
  const words = failed ? "" : fresh ? `Made ${made}, up to date` : making || made === null ? "Being made…" : `Made ${made}; something has changed, it is made anew in a moment`;
  if (byId("state").textContent !== words) byId("state").textContent = words;
  if (failed) shout(`The debrief cannot be made: ${failed}.`);
  else hush();
  for (const id of ["save", "print"]) byId(id).disabled = made === null;
  if (made !== null && body.number !== number) load(body.number);
}

if (await start()) {
  byId("save").onclick = async () => {
    const { ok, body } = await postJson("api/report", {}, 60000);
    if (ok) byId("state").textContent = `Saved: ${body.page} and ${body.files - 1} files beside it`;
    else shout(`Not saved: ${body.error}.`);
  };
  byId("print").onclick = () => byId("report").contentWindow?.print();
  byId("share").onclick = () => {
    const { hidden } = byId("sharing");
    byId("sharing").hidden = !hidden;
    byId("share").setAttribute("aria-expanded", hidden);
  };
  await look();
  setInterval(() => { if (!document.hidden) look(); }, 1000);
}
