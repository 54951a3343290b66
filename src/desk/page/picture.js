// The picture on the stage: zoom to the pointer, pan, brightness and contrast, and the box round what moved.

import { byId, el } from "./shared.js";

const MOST = 12;       // times the size that fits
let scale = 1, x = 0, y = 0;
let light = { brightness: 1, contrast: 1, stretched: false };

const stage = () => byId("picture");
const image = () => stage().querySelector("img");
const box = () => stage().querySelector(".picture");

// --- zoom and pan

function place() {
  const node = box();
  if (!node) return;
  node.style.transform = scale === 1 ? "" : `translate(${x}px, ${y}px) scale(${scale})`;
  byId("stage").classList.toggle("zoomed", scale !== 1);
  drawMoved();
}

// The point under the pointer stays under it.
export function zoomBy(factor, atX = null, atY = null) {
  const { left, top, width, height } = stage().getBoundingClientRect();
  const px = (atX ?? left + width / 2) - left, py = (atY ?? top + height / 2) - top;
  const next = Math.min(MOST, Math.max(1, scale * factor));
  x = px - ((px - x) * next) / scale;
  y = py - ((py - y) * next) / scale;
  scale = next;
  within(width, height);
  if (scale > 1.3) loadFull();
  place();
}

function within(width, height) {
  x = Math.min(0, Math.max(width - width * scale, x));
  y = Math.min(0, Math.max(height - height * scale, y));
}

export function panBy(dx, dy) {
  const { width, height } = stage().getBoundingClientRect();
  [x, y] = [x + dx, y + dy];
  within(width, height);
  place();
}

export const isZoomed = () => scale !== 1;

export function fit() {
  [scale, x, y] = [1, 0, 0];
  place();
}

// In at where something moved, or in the middle; out again.
export function toggleZoom(moved) {
  if (isZoomed()) return fit();
  const shown = shownRect();
  const [atX, atY] = moved && shown ? [shown.left + (moved[0] + moved[2] / 2) * shown.width, shown.top + (moved[1] + moved[3] / 2) * shown.height] : [null, null];
  return zoomBy(3, atX, atY);
}

// Zoomed in, the picture as it is on the card is worth fetching.
function loadFull() {
  const img = image();
  if (!img || img.dataset.full || !img.src.includes("size=screen")) return;
  img.dataset.full = "true";
  const full = new Image();
  full.onload = () => { if (img.isConnected) img.src = full.src; };
  full.src = img.src.replace("size=screen", "size=full");
}

// --- where the picture itself lies on the window

export function shownRect() {
  const img = image();
  if (!img?.naturalWidth) return null;
  const { left, top, width, height } = img.getBoundingClientRect();
  const ratio = Math.min(width / img.naturalWidth, height / img.naturalHeight);
  const [w, h] = [img.naturalWidth * ratio, img.naturalHeight * ratio];
  return { left: left + (width - w) / 2, top: top + (height - h) / 2, width: w, height: h };
}

let movedNow = null;

export function showMoved(moved) {
  movedNow = moved;
  drawMoved();
}

function drawMoved() {
  const shown = movedNow && shownRect();
  const node = byId("moved");
  node.hidden = !shown;
  if (!shown) return;
  const around = byId("stage").getBoundingClientRect();
  const [left, top, width, height] = movedNow;
  node.style.left = `${shown.left - around.left + left * shown.width - 4}px`;
  node.style.top = `${shown.top - around.top + top * shown.height - 4}px`;
  node.style.width = `${width * shown.width + 8}px`;
  node.style.height = `${height * shown.height + 8}px`;
}

// --- light

function lighten() {
  const img = image();
  if (img) img.style.filter = light.brightness === 1 && light.contrast === 1 ? "" : `brightness(${light.brightness}) contrast(${light.contrast})`;
}

// The hundredth part that is darkest becomes black, the hundredth that is brightest white.
function stretch() {
  const img = image();
  if (!img?.naturalWidth) return;
  const across = 160, down = Math.max(1, Math.round((160 * img.naturalHeight) / img.naturalWidth));
  const canvas = el("canvas", { width: across, height: down });
  const context = canvas.getContext("2d", { willReadFrequently: true });
  context.drawImage(img, 0, 0, across, down);
  // Date and time printed along the edges are white on black already.
  const edge = Math.round(down * 0.1);
  const { data } = context.getImageData(0, edge, across, Math.max(1, down - 2 * edge));
  const lights = [];
  for (let i = 0; i < data.length; i += 4) lights.push(0.299 * data[i] + 0.587 * data[i + 1] + 0.114 * data[i + 2]);
  lights.sort((a, b) => a - b);
  const part = (q) => lights[Math.floor(q * (lights.length - 1))] / 255;
  const low = part(0.01), high = Math.max(part(0.99), low + 0.02);
  // brightness(b) and then contrast(c) is c b v + (1 - c) / 2 (Filter Effects Module Level 1, W3C): solved for (v - low) / (high - low).
  light.contrast = 1 + (2 * low) / (high - low);
  light.brightness = 1 / ((high - low) * light.contrast);
}

export function toggleStretch() {
  light.stretched = !light.stretched;
  if (light.stretched) stretch();
  else light = { brightness: 1, contrast: 1, stretched: false };
  lighten();
  return light.stretched;
}

export function setLight(name, value) {
  light = { ...light, [name]: value, stretched: false };
  lighten();
}

// --- a new picture

export function shown(moved) {
  fit();
  const img = image();
  const ready = () => {
    if (light.stretched) stretch();
    lighten();
    showMoved(moved);
  };
  if (img && !img.complete) img.addEventListener("load", ready, { once: true });
  ready();
}

// --- hands

export function listen(onTap) {
  const hands = new Map();
  let moved = 0;
  const node = stage();
  node.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoomBy(Math.exp(-event.deltaY * 0.0016), event.clientX, event.clientY);
  }, { passive: false });
  node.addEventListener("pointerdown", (event) => {
    if (event.target.closest("video") || event.button > 0) return;
    hands.set(event.pointerId, event);
    if (hands.size === 1) moved = 0;
    node.setPointerCapture(event.pointerId);
  });
  node.addEventListener("pointermove", (event) => {
    const before = hands.get(event.pointerId);
    if (!before) return;
    const other = [...hands.values()].find(({ pointerId }) => pointerId !== event.pointerId);
    const [dx, dy] = [event.clientX - before.clientX, event.clientY - before.clientY];
    moved += Math.abs(dx) + Math.abs(dy);
    if (other) {
      const apart = (a) => Math.hypot(a.clientX - other.clientX, a.clientY - other.clientY);
      zoomBy(apart(event) / Math.max(1, apart(before)), (event.clientX + other.clientX) / 2, (event.clientY + other.clientY) / 2);
    } else if (isZoomed()) panBy(dx, dy);
    hands.set(event.pointerId, event);
  });
  const up = (event) => {
    if (hands.delete(event.pointerId) && !hands.size && moved < 6 && event.type === "pointerup") onTap(event);
  };
  node.addEventListener("pointerup", up);
  node.addEventListener("pointercancel", up);
  window.addEventListener("resize", () => place());
}
