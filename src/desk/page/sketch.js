// A sketch of the land in the log: press where a camera hung or something happened, and its coordinates are filled in.

import { drawing, el, getJson } from "./shared.js";

const WIDTH = 640, HEIGHT = 420, EDGE = 24;
const METRES_PER_DEGREE = 111195;  // of a great circle on a sphere of 6,371 km

let land = null;

export async function loadLand() {
  const { ok, body } = await getJson("api/land");
  land = ok ? body : null;
}

// Metres east and north of the property's place, and back.
const plane = (longitude, latitude) => [
  (longitude - land.longitude) * METRES_PER_DEGREE * Math.cos((land.latitude * Math.PI) / 180),
  (latitude - land.latitude) * METRES_PER_DEGREE,
];
const degrees = (east, north) => [
  land.longitude + east / (METRES_PER_DEGREE * Math.cos((land.latitude * Math.PI) / 180)),
  land.latitude + north / METRES_PER_DEGREE,
];

// What is drawn lies within the window; at least four hundred metres of it.
function view() {
  const all = [...land.shapes.flatMap(({ parts }) => parts.flat()).map(([x, y]) => plane(x, y)),
    ...land.spots.map(({ longitude, latitude }) => plane(longitude, latitude))];
  const points = all.length ? all : [[0, 0]];
  const middle = (at) => (Math.min(...points.map((p) => p[at])) + Math.max(...points.map((p) => p[at]))) / 2;
  const reach = (at) => Math.max(200, ...points.map((p) => Math.abs(p[at] - middle(at))));
  const scale = Math.min((WIDTH / 2 - EDGE) / reach(0), (HEIGHT / 2 - EDGE) / reach(1));
  const [east, north] = [middle(0), middle(1)];
  return {
    scale,
    to: ([x, y]) => [WIDTH / 2 + (x - east) * scale, HEIGHT / 2 - (y - north) * scale],
    from: ([x, y]) => [(x - WIDTH / 2) / scale + east, (HEIGHT / 2 - y) / scale + north],
  };
}

// `fields` are the form's inputs for latitude and longitude.
export function sketch(fields) {
  if (!land) return null;
  const at = view();
  const svg = drawing("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "sketch", tabindex: 0, role: "application",
    "aria-label": "Sketch of the land. Arrow keys move the mark by five metres, with Shift by fifty.", "aria-roledescription": "sketch" });
  for (const shape of land.shapes) svg.append(...drawn(shape, at));
  for (const spot of land.spots) svg.append(...spotNodes(spot, at));
  const mark = drawing("g", { class: "mark" });
  mark.append(drawing("circle", { r: 9 }), drawing("path", { d: "M-14 0H14M0-14V14" }));
  svg.append(mark);
  const said = el("p", { className: "help", role: "status" }, "Press where it is, or type the numbers.");
  const show = () => {
    const [latitude, longitude] = fields.map((field) => Number.parseFloat(field.value.replace(",", ".")));
    const known = Number.isFinite(latitude) && Number.isFinite(longitude);
    mark.classList.toggle("away", !known);
    if (!known) return;
    const [x, y] = at.to(plane(longitude, latitude));
    mark.setAttribute("transform", `translate(${x.toFixed(1)} ${y.toFixed(1)})`);
  };
  const put = (east, north) => {
    const [longitude, latitude] = degrees(east, north);
    fields[0].value = latitude.toFixed(5);
    fields[1].value = longitude.toFixed(5);
    said.textContent = `${latitude.toFixed(5)}, ${longitude.toFixed(5)}`;
    show();
  };
  svg.addEventListener("click", (event) => {
    const box = svg.getBoundingClientRect();
    const ratio = Math.min(box.width / WIDTH, box.height / HEIGHT);
    const x = (event.clientX - box.left - (box.width - WIDTH * ratio) / 2) / ratio;
    const y = (event.clientY - box.top - (box.height - HEIGHT * ratio) / 2) / ratio;
    put(...at.from([x, y]));
  });
  svg.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: [-5, 0], ArrowRight: [5, 0], ArrowUp: [0, 5], ArrowDown: [0, -5] }[event.key];
    if (!step) return;
    event.preventDefault();
    const [latitude, longitude] = fields.map((field) => Number.parseFloat(field.value));
    const now = Number.isFinite(latitude) && Number.isFinite(longitude) ? plane(longitude, latitude) : at.from([WIDTH / 2, HEIGHT / 2]);
    const by = event.shiftKey ? 10 : 1;
    put(now[0] + step[0] * by, now[1] + step[1] * by);
  });
  for (const field of fields) field.addEventListener("input", show);
  show();
  return el("div", { className: "placing" }, svg, said);
}

function drawn({ name, sort, kind, parts }, at) {
  const line = (part) => part.map(([x, y], i) => `${i ? "L" : "M"}${at.to(plane(x, y)).map((v) => v.toFixed(1)).join(" ")}`).join("");
  const kindClass = `land ${sort.split(" ")[0]}`;
  if (kind === "point") {
    const [x, y] = at.to(plane(...parts[0][0]));
    return [drawing("circle", { cx: x, cy: y, r: 3, class: kindClass }), ...(name ? [drawing("text", { x: x + 6, y: y + 4 }, name)] : [])];
  }
  const path = drawing("path", { d: parts.map((part) => line(part) + (kind === "area" ? "Z" : "")).join(""), class: `${kindClass} ${kind}` });
  const title = drawing("title", {}, [name, sort].filter(Boolean).join(", "));
  path.append(title);
  return [path];
}

function spotNodes({ name, kind, latitude, longitude }, at) {
  const [x, y] = at.to(plane(longitude, latitude));
  const shape = { camera: drawing("circle", { cx: x, cy: y, r: 5 }), stand: drawing("path", { d: `M${x - 6} ${y + 5}h12l-6-11z` }),
    event: drawing("path", { d: `M${x - 6} ${y - 5}h12l-6 11z` }) }[kind];
  shape.setAttribute("class", `spot ${kind}`);
  return [shape, drawing("text", { x: x + 8, y: y + 4 }, name)];
}
