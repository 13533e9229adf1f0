// Where a checkpoint is on the drawing, and how it should look. The pictures are kept on the tablet with the unit.

import { ask, el } from "./dom.js";
import { state } from "./unit.js";
import { t } from "./words.js";

const MOST_KEPT = 80;
const kept = new Map(); // address → a promise of one that works without network
let keptFor = null;

async function take(address) {
  const cache = await caches.open("drawings");
  let answer = await cache.match(address);
  if (!answer) {
    answer = await fetch(address);
    if (!answer.ok || !answer.headers.get("Content-Type")?.startsWith("image/")) throw new Error("no picture");
    await cache.put(address, answer.clone());
    const all = await cache.keys();
    await Promise.all(all.slice(0, Math.max(0, all.length - MOST_KEPT)).map((old) => cache.delete(old)));
  }
  return URL.createObjectURL(await answer.blob());
}

/** The picture's address; from the tablet's own store where it can be. */
function local(address) {
  if (!kept.has(address)) kept.set(address, take(address).catch(() => { kept.delete(address); return address; }));
  return kept.get(address);
}

/** Takes along what the unit's checkpoints show. */
function keepAll({ drawings = [], checkpoints }) {
  for (const one of drawings) local(one.address);
  for (const c of checkpoints) if (c.picture) local(c.picture);
}

function svg(name, attributes) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  return node;
}

/** The sheet with the spot in its middle, `part` of its width in sight; look(…) shows another part. `pins`: balloons of that size go side by side. */
function sheetOf({ drawing, x, y }, number, part, pins) {
  const { width, height } = drawing;
  const at = { x: x * width, y: y * height, w: width * part, ratio: 0.72 };
  const picture = svg("image", { width, height });
  local(drawing.address).then((address) => picture.setAttribute("href", address));
  const pin = svg("g", { class: "pin" });
  const text = svg("text", { y: -12.6, "font-size": number < 1000 ? 8.5 : 7, "text-anchor": "middle" });
  text.textContent = number;
  pin.append(svg("path", { d: "M0 0L-4 -6.8A10 10 0 1 1 4 -6.8Z" }), text);
  const node = svg("svg", { class: "sheet", role: "img", "aria-label": t("{0} on {1}", number, drawing.title) });
  node.append(svg("rect", { width, height, fill: "#fff" }), picture, pin);
  const look = (factor, dx = 0, dy = 0) => {
    at.w = Math.min(Math.max(at.w / factor, width / 12), width);
    at.x = Math.min(Math.max(at.x + dx * at.w, 0), width);
    at.y = Math.min(Math.max(at.y + dy * at.w, 0), height);
    const h = at.w * at.ratio;
    node.setAttribute("viewBox", `${at.x - at.w / 2} ${at.y - h / 2} ${at.w} ${h}`);
    pin.setAttribute("transform", `translate(${x * width} ${y * height}) scale(${at.w / pins})`);
  };
  look(1);
  return { node, look };
}

function byHand(node, look) {
  const fingers = new Map();
  let apart = 0;
  node.addEventListener("pointerdown", (event) => { node.setPointerCapture(event.pointerId); fingers.set(event.pointerId, event); apart = 0; });
  node.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    fingers.set(event.pointerId, event);
    const [one, two] = [...fingers.values()];
    const now = two ? Math.hypot(one.clientX - two.clientX, one.clientY - two.clientY) : 0;
    if (!two) look(1, (before.clientX - event.clientX) / node.clientWidth, (before.clientY - event.clientY) / node.clientWidth);
    else if (apart) look(now / apart);
    apart = now;
  });
  for (const end of ["pointerup", "pointercancel"]) node.addEventListener(end, (event) => { fingers.delete(event.pointerId); apart = 0; });
  node.addEventListener("wheel", (event) => { event.preventDefault(); look(event.deltaY < 0 ? 1.2 : 1 / 1.2); }, { passive: false });
}

/** The sheet, large; with `mark` a tap sets a mark, and what comes out is its place in thousandths, or null. */
function showSheet(spot, c, mark = false) {
  const { node, look } = sheetOf(spot, c.number, 0.5, 420);
  byHand(node, look);
  const { width, height } = spot.drawing;
  const cross = svg("circle", { r: width / 60, class: "defect", visibility: "hidden" });
  let at = null;
  node.append(cross);
  if (mark) node.addEventListener("click", (event) => {
    const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(node.getScreenCTM().inverse());
    if (x < 0 || y < 0 || x > width || y > height) return;
    at = { across: Math.round((x / width) * 1000), down: Math.round((y / height) * 1000) };
    for (const [key, value] of [["cx", x], ["cy", y], ["visibility", "visible"]]) cross.setAttribute(key, value);
    node.dispatchEvent(new Event("marked"));
  });
  const button = (label, act, first = null) => el("button", { type: "button", class: "big", "data-first": first, onclick: act }, label);
  return ask(mark ? t("Tap where the imperfection is") : t("{0} on {1}", c.number, spot.drawing.title), (close) => {
    const keep = mark && el("button", { type: "button", class: "big go", disabled: true, onclick: () => close(at) }, t("Keep the mark"));
    node.addEventListener("marked", () => { keep.disabled = false; });
    return el("div", { class: "whole" }, node,
      el("div", { class: "then" }, button(`+ ${t("Closer")}`, () => look(1.5)), button(`− ${t("Farther")}`, () => look(1 / 1.5)), button(t("Back"), () => close(null), true), keep));
  });
}

function showPicture(c) {
  const image = el("img", { alt: t("How {0} should look", c.title), class: "sheet" });
  local(c.picture).then((address) => { image.src = address; });
  return ask(t("How {0} should look", c.number), (close) => el("div", { class: "whole" }, image,
    el("div", { class: "then" }, el("button", { type: "button", class: "big", "data-first": true, onclick: () => close(null) }, t("Back")))));
}

const spotIn = (c) => {
  const drawing = c.spot && state.data.drawings.find((one) => one.uuid === c.spot.drawing);
  return drawing ? { drawing, x: Number(c.spot.across), y: Number(c.spot.down) } : null;
};

/** Ask where on its drawing a defect is: `{drawing, across, down}`, or null. */
export async function askMark(c) {
  const spot = spotIn(c);
  const at = spot && (await showSheet(spot, c, true));
  return at && { drawing: spot.drawing.uuid, ...at };
}

/** What stands beside the question: the spot on the drawing and the reference picture, where there are any. */
export function spotOf(c) {
  if (keptFor !== state.data) { keptFor = state.data; keepAll(state.data); }
  const spot = spotIn(c);
  const shown = [];
  if (spot) {
    shown.push(el("button", { type: "button", class: "spot", "aria-label": t("Show {0} on the drawing, {1}", c.number, spot.drawing.title), onclick: () => showSheet(spot, c) }, sheetOf(spot, c.number, 0.26, 130).node));
  }
  if (c.picture) {
    const image = el("img", { alt: "" });
    local(c.picture).then((address) => { image.src = address; });
    shown.push(el("button", { type: "button", class: "spot", "aria-label": t("Show how {0} should look", c.number), onclick: () => showPicture(c) }, image));
  }
  return shown.length ? el("div", { class: "spots" }, shown) : null;
}
