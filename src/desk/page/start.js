// Choosing a folder, and starting a property.

import { byId, el, getJson, postJson, say, shout, hush, button } from "./shared.js";

// A dialog that walks through folders. `files` offers nothing but folders; a file is typed.
export function chooseFolder(title, does, chosen, { property = false, file = false } = {}) {
  const path = el("input", { type: "text", "aria-label": file ? "File or folder" : "Folder", spellcheck: false, autocomplete: "off" });
  const list = el("ul", { className: "folders" });
  const said = el("p", { role: "status" });
  const take = button(does, () => {
    dialog.close();
    chosen(path.value.trim());
  }, { className: "main" });
  const form = el("form", { className: "fields" }, path, el("button", {}, "Look"));
  const dialog = el("dialog", { className: "choose", "aria-label": title },
    el("h2", {}, title), form, list, said, el("div", { className: "keys" }, take, button("Leave", () => dialog.close())));
  async function go(to) {
    const { ok, body } = await getJson("api/folders", { path: to });
    if (!ok) {
      said.textContent = file ? "" : `${body.error}.`;
      return;
    }
    path.value = body.path;
    said.textContent = property ? (body.is_property ? "This is a property." : "This folder is no property; choose the one with property.toml in it.") : "";
    take.disabled = property && !body.is_property;
    const join = (name) => (body.path.endsWith(body.separator) ? body.path + name : body.path + body.separator + name);
    const up = body.parent ? [el("li", {}, button("↑ one up", () => go(body.parent)))] : [];
    list.replaceChildren(...up, ...body.folders.map((name) => el("li", {}, button(name, () => go(join(name))))));
  }
  form.onsubmit = (event) => {
    event.preventDefault();
    go(path.value.trim());
  };
  path.oninput = () => { take.disabled = false; };
  dialog.onclose = () => dialog.remove();
  document.body.append(dialog);
  dialog.showModal();
  go("");
}

let within = "";
let place = null;

export async function openStarting(opened) {
  const form = byId("starting");
  const fields = form.elements;
  form.hidden = false;
  byId("starting-heading").focus();
  if (!within) {
    const { body } = await getJson("api/home");
    within = body.suggested ?? "";
  }
  let folderTouched = false;
  const showFolder = () => {
    if (!folderTouched) fields.folder.value = fields.name.value.trim().replace(/[/\\:*?"<>|]+/g, " ").trim();
    const slash = within.includes("\\") ? "\\" : "/";
    byId("folder-shown").textContent = within ? `${within}${within.endsWith(slash) ? "" : slash}${fields.folder.value || "…"}` : "…";
  };
  const found = async (query) => {
    const { ok, body } = await getJson("api/place", query);
    place = ok ? body : null;
    byId("place-found").textContent = ok ? `${body.words}; the clocks there follow ${body.time_zone}. Is that right?` : `${body.error}.`;
    if (!ok) fields.zone.value = "";
    if (ok) {
      fields.zone.value = body.time_zone;
      if (!query.text) fields.place.value = `${body.latitude.toFixed(5)}, ${body.longitude.toFixed(5)}`;
    }
  };
  fields.name.oninput = showFolder;
  fields.folder.oninput = () => { folderTouched = true; showFolder(); };
  fields.place.oninput = () => { place = null; };
  fields.place.onchange = () => fields.place.value.trim() && found({ text: fields.place.value });
  byId("find-place").onclick = () => found({ text: fields.place.value });
  byId("from-land").onclick = () => chooseFolder("Which file of the land?", "Use this file", (land) => found({ land }), { file: true });
  byId("from-pictures").onclick = () => chooseFolder("Which folder of pictures?", "Use these", (folder) => found({ pictures: folder }));
  byId("choose-within").onclick = () => chooseFolder("In which folder?", "In this one", (folder) => { within = folder; showFolder(); });
  byId("leave-starting").onclick = () => { form.hidden = true; byId("start-new").focus(); };
  showFolder();
  form.onsubmit = async (event) => {
    event.preventDefault();
    hush();
    // The zone is seen before anything is made.
    if (!place) {
      await found({ text: fields.place.value });
      if (place) byId("place-found").textContent += " Then press the button once more.";
      return place ? form.querySelector("button.main").focus() : fields.place.focus();
    }
    const wanted = { name: fields.name.value, latitude: place.latitude, longitude: place.longitude,
      time_zone: fields.zone.value.trim(), within, folder: fields.folder.value };
    const { ok, body } = await postJson("api/start", wanted);
    if (!ok) return shout(`Not made: ${body.error}.`);
    hush();
    form.hidden = true;
    say(`${body.name} is made`, "saved");
    opened(body.path);
  };
}
