// The ballooned drawing: look closer, go about on it, and in a draft set balloons, by tap, mouse or keys alone. A weld
// map is one as well: its joints are placed as balloons are, and `data-thing` says that they are marks.
// The view is the viewBox of the SVG; balloons keep their size on the screen.

import { t } from "./words.js";

const box = document.getElementById("ballooning");
const view = document.getElementById("view");
const svg = view.querySelector("svg");
const list = document.getElementById("spots");
const told = document.getElementById("told");
const refusedLine = document.getElementById("refused");
const chosenLine = document.getElementById("chosen");
const edits = box.dataset.edits === "yes";
const WORDS = {
  balloon: {
    none: t("no balloon yet"),
    lost: t("The server cannot be reached; the balloon was not kept. Check the connection and set it again."),
    gone: (number) => t("{0} has no balloon now", number),
    missing: (missing, all) => t("{0} of {1} checkpoints without a balloon", missing, all),
    all: t("Every checkpoint has its balloon"),
  },
  mark: {
    none: t("no mark yet"),
    lost: t("The server cannot be reached; the mark was not kept. Check the connection and set it again."),
    gone: (number) => t("{0} has no mark now", number),
    missing: (missing, all) => t("{0} of {1} joints without a mark", missing, all),
    all: t("Every joint has its mark"),
  },
}[box.dataset.thing ?? "balloon"];
const { width, height } = svg.viewBox.baseVal;
const PARTS = 100000;
const RING = 12; // pixels on the screen
const CLOSEST = 16;
const NAMES = "http://www.w3.org/2000/svg";

const at = { x: 0, y: 0, w: width, h: height }; // what is seen of the sheet
const cross = { x: width / 2, y: height / 2 };

// ---------------------------------------------------------------------------------------------- the view

const unit = () => Math.max(at.w / view.clientWidth, at.h / view.clientHeight); // of the sheet, for one pixel

function clamp(number, low, high) {
  return Math.min(Math.max(number, low), high);
}

function show() {
  at.x = clamp(at.x, -at.w / 2, width - at.w / 2);
  at.y = clamp(at.y, -at.h / 2, height - at.h / 2);
  svg.setAttribute("viewBox", `${at.x} ${at.y} ${at.w} ${at.h}`);
  const scale = Math.min((RING / 10) * unit(), Math.max(width, height) / 880);
  for (const pin of svg.querySelectorAll(".balloon")) pin.setAttribute("transform", `translate(${pin.dataset.x} ${pin.dataset.y}) scale(${scale.toFixed(4)})`);
  marker.setAttribute("transform", `translate(${cross.x} ${cross.y}) scale(${unit().toFixed(4)})`);
}

function zoom(factor, x = at.x + at.w / 2, y = at.y + at.h / 2) {
  const w = clamp(at.w / factor, width / CLOSEST, width);
  const real = at.w / w;
  Object.assign(at, { x: x - (x - at.x) / real, y: y - (y - at.y) / real, w, h: at.h / real });
  show();
}

function whole() {
  Object.assign(at, { x: 0, y: 0, w: width, h: height });
  show();
}

function spotOf(event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return { x: clamp(point.x, 0, width), y: clamp(point.y, 0, height) };
}

function intoSight({ x, y }) {
  const margin = 0.12;
  const move = (low, size, value, whole_) => (value < low + size * margin ? value - size * margin : value > low + size * (1 - margin) ? value - size * (1 - margin) : low) * (size < whole_ ? 1 : 0);
  at.x = move(at.x, at.w, x, width);
  at.y = move(at.y, at.h, y, height);
}

// ------------------------------------------------------------------------------------------- checkpoints

const buttons = () => [...list.querySelectorAll("button")];
const chosen = () => list.querySelector("button[aria-current]");
const pinOf = (key) => [...svg.querySelectorAll(".balloon")].find((pin) => pin.dataset.key === key);

function choose(button, { focus = false } = {}) {
  if (!button) return;
  for (const other of buttons()) {
    other.removeAttribute("aria-current");
    other.tabIndex = -1;
  }
  button.setAttribute("aria-current", "true");
  button.tabIndex = 0;
  button.scrollIntoView({ block: "nearest" });
  if (focus) button.focus();
  const pin = pinOf(button.dataset.key);
  for (const other of svg.querySelectorAll(".balloon.here")) other.classList.remove("here");
  if (pin) {
    pin.classList.add("here");
    pin.parentNode.append(pin);
    Object.assign(cross, { x: Number(pin.dataset.x), y: Number(pin.dataset.y) });
    intoSight(cross);
  }
  const link = document.getElementById("to-picture");
  if (link) link.href = `?sheet=${box.dataset.sheet}&checkpoint=${button.dataset.number}`;
  say(button);
  show();
}

function say(button) {
  const { number, title, seen } = button.dataset;
  const where = pinOf(button.dataset.key) ? t("on this sheet") : seen ? t("on another sheet") : WORDS.none;
  chosenLine.textContent = `${number} ${title}: ${where}`;
  const remove = document.getElementById("remove");
  if (remove) remove.disabled = !seen;
}

function nextMissing(after) {
  const all = buttons();
  const from = all.indexOf(after);
  return [...all.slice(from + 1), ...all.slice(0, from)].find((one) => !one.dataset.seen);
}

function step(by) {
  const all = buttons().filter((one) => one.offsetParent !== null);
  const now = all.indexOf(chosen());
  choose(all[clamp(now + by, 0, all.length - 1)]);
}

// ------------------------------------------------------------------------------------------------- balloons

let queue = Promise.resolve();
const steps = []; // what was set, moved or taken away since the page was opened: the checkpoint and where its balloon was

function inTurn(task) {
  queue = queue.then(task, task);
  return queue;
}

async function post(fields) {
  try {
    const answer = await fetch(box.dataset.address, { method: "POST", body: new URLSearchParams(fields), headers: { "X-CSRFToken": box.dataset.token, Accept: "application/json" } });
    if (answer.status === 401) window.location.href = (await answer.json()).sign_in || "/sign-in/";
    const json = (answer.headers.get("Content-Type") || "").includes("json");
    return { ok: answer.ok, ...(json ? await answer.json() : { message: t("Something went wrong here; reload the page.") }) };
  } catch {
    return { ok: false, message: WORDS.lost };
  }
}

// A joint has a letter before its number, which is wider.
function sizeOf(number) {
  if (/^\d+$/.test(number)) return number.length < 4 ? "9.5" : "7.5";
  return number.length < 3 ? "8.5" : (22 / number.length).toPrecision(3);
}

function draw(key, number, { x, y }) {
  let pin = pinOf(key);
  if (!pin) {
    pin = document.createElementNS(NAMES, "g");
    pin.setAttribute("class", "balloon");
    pin.dataset.key = key;
    pin.innerHTML = `<path d="M0 0L-4 -6.8A10 10 0 1 1 4 -6.8Z" fill="#fff" stroke="#0B4F5C" stroke-width="1.4"/><text y="-12.7" font-weight="600" text-anchor="middle" fill="#0B4F5C"></text>`;
    const text = pin.querySelector("text");
    text.setAttribute("font-size", sizeOf(number));
    text.textContent = number;
    svg.querySelector(".balloons").append(pin);
  }
  pin.dataset.x = x.toFixed(1);
  pin.dataset.y = y.toFixed(1);
  return pin;
}

const STATE = /^(\S+) (\d+) (\d+)$/;

// What the server has: after a refusal the drawing says that again.
function drawKept(button) {
  const { key, number, seen } = button.dataset;
  const found = STATE.exec(seen);
  if (found && found[1] === box.dataset.sheet) draw(key, number, { x: (found[2] * width) / PARTS, y: (found[3] * height) / PARTS });
  else pinOf(key)?.remove();
  button.querySelector(".where").textContent = !seen ? t("none") : found[1] === box.dataset.sheet ? t("here") : t("another sheet");
  count();
  show();
}

function place(spot, button = chosen(), goOn = true) {
  if (!edits || !button) return;
  const { key, number } = button.dataset;
  const was = button.dataset.seen;
  const [across, down] = [Math.round((spot.x * PARTS) / width), Math.round((spot.y * PARTS) / height)];
  draw(key, number, spot);
  button.dataset.seen = `${box.dataset.sheet} ${across} ${down}`;
  drawKept(button);
  told.textContent = t("{0} is set", number);
  remember(key, was);
  inTurn(() => keep(button, was, { sheet: box.dataset.sheet, across, down }));
  const next = goOn && !was ? nextMissing(button) : button;
  choose(next || button);
}

async function keep(button, was, fields) {
  const data = await post({ key: button.dataset.key, was, ...fields });
  if (data.ok) {
    button.dataset.seen = data.seen;
    refusedLine.hidden = true;
    return;
  }
  // A step that was not kept is none, nor are those of this balloon before it: it is where somebody else put it.
  for (let at_ = steps.length - 1; at_ >= 0; at_ -= 1) if (steps[at_].key === button.dataset.key) steps.splice(at_, 1);
  undoable();
  button.dataset.seen = data.code === "changed_meanwhile" ? data.details.now || "" : was;
  drawKept(button);
  refusedLine.textContent = `${button.dataset.number}: ${data.message}`;
  refusedLine.hidden = false;
  told.textContent = "";
}

function remove() {
  const button = chosen();
  if (!edits || !button || !button.dataset.seen) return;
  const was = button.dataset.seen;
  button.dataset.seen = "";
  drawKept(button);
  told.textContent = WORDS.gone(button.dataset.number);
  remember(button.dataset.key, was);
  inTurn(() => keep(button, was, { act: "remove" }));
  choose(button);
}

function remember(key, was) {
  steps.push({ key, was });
  undoable();
}

function undoable() {
  const undo_ = document.getElementById("undo");
  if (undo_) undo_.disabled = !steps.length;
}

// The last step back, in the same way as it was made: what another moved meanwhile is not overwritten.
function undo() {
  const last = steps.pop();
  undoable();
  const button = last && buttons().find((one) => one.dataset.key === last.key);
  if (!button) return;
  const now = button.dataset.seen;
  button.dataset.seen = last.was;
  drawKept(button);
  told.textContent = t("Undone: {0}", button.dataset.number);
  const [, sheet, across, down] = STATE.exec(last.was) || [];
  inTurn(() => keep(button, now, sheet ? { sheet, across, down } : { act: "remove" }));
  choose(button);
}

function count() {
  const missing = buttons().filter((one) => !one.dataset.seen).length;
  document.getElementById("missing").textContent = missing ? WORDS.missing(missing, buttons().length) : WORDS.all;
  for (const place_ of document.querySelectorAll("[data-sheet-count]")) {
    place_.textContent = buttons().filter((one) => one.dataset.seen.startsWith(place_.dataset.sheetCount)).length;
  }
}

// ---------------------------------------------------------------------------------------- fingers and mouse

const pointers = new Map();
let held = null; // { pin, button } of a balloon that is drawn, or { pan: true }
let moved = 0;
let apart = 0;

view.addEventListener("pointerdown", (event) => {
  if (event.button > 0) return;
  view.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, event);
  apart = 0;
  if (pointers.size > 1) { held = null; return; }
  moved = 0;
  const pin = event.target.closest(".balloon");
  const button = pin && buttons().find((one) => one.dataset.key === pin.dataset.key);
  held = button ? { pin, button } : { pan: true };
});

view.addEventListener("pointermove", (event) => {
  const before = pointers.get(event.pointerId);
  if (!before) return;
  pointers.set(event.pointerId, event);
  const [dx, dy] = [event.clientX - before.clientX, event.clientY - before.clientY];
  moved += Math.abs(dx) + Math.abs(dy);
  if (pointers.size === 2) return pinch();
  if (!held || moved < 6) return undefined;
  if (held.pin && edits) {
    const spot = spotOf(event);
    draw(held.pin.dataset.key, held.button.dataset.number, spot);
    show();
  } else {
    view.classList.add("moving");
    at.x -= dx * unit();
    at.y -= dy * unit();
    show();
  }
  return undefined;
});

function pinch() {
  const [one, two] = [...pointers.values()];
  const now = Math.hypot(one.clientX - two.clientX, one.clientY - two.clientY);
  if (apart) {
    const middle = spotOf({ clientX: (one.clientX + two.clientX) / 2, clientY: (one.clientY + two.clientY) / 2 });
    zoom(now / apart, middle.x, middle.y);
  }
  apart = now;
}

function released(event) {
  const was = held;
  pointers.delete(event.pointerId);
  if (pointers.size) return;
  view.classList.remove("moving");
  held = null;
  if (event.type !== "pointerup" || !was) return;
  if (was.button) {
    if (moved >= 6 && edits) place(spotOf(event), was.button, false);
    else choose(was.button);
  } else if (moved < 6) {
    place(spotOf(event));
  }
}

view.addEventListener("pointerup", released);
view.addEventListener("pointercancel", released);
view.addEventListener("wheel", (event) => {
  event.preventDefault();
  const spot = spotOf(event);
  zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, spot.x, spot.y);
}, { passive: false });

// ------------------------------------------------------------------------------------------------- the keys

const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

function moveCross(event) {
  const [dx, dy] = WAYS[event.key];
  const far = (event.shiftKey ? 40 : 4) * unit();
  if (!edits) {
    at.x += dx * 40 * unit();
    at.y += dy * 40 * unit();
    return show();
  }
  cross.x = clamp(cross.x + dx * far, 0, width);
  cross.y = clamp(cross.y + dy * far, 0, height);
  intoSight(cross);
  return show();
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "z" || !(event.ctrlKey || event.metaKey) || event.target.closest("input, textarea, select")) return;
  event.preventDefault();
  if (edits) undo();
});

view.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const acts = {
    "+": () => zoom(1.4, cross.x, cross.y), "=": () => zoom(1.4, cross.x, cross.y), "-": () => zoom(1 / 1.4, cross.x, cross.y), 0: whole,
    Enter: () => place({ ...cross }), Delete: remove, Backspace: remove, PageDown: () => step(1), PageUp: () => step(-1),
  };
  if (WAYS[event.key]) moveCross(event);
  else if (acts[event.key]) acts[event.key]();
  else return;
  event.preventDefault();
});

list.addEventListener("keydown", (event) => {
  if (event.key === "ArrowDown" || event.key === "ArrowUp") {
    event.preventDefault();
    step(event.key === "ArrowDown" ? 1 : -1);
    chosen().focus();
  }
});

list.addEventListener("click", (event) => {
  if (event.target.closest("a")) return;
  const button = event.target.closest("button");
  if (!button) return;
  choose(button);
  if (edits) view.focus({ preventScroll: true });
});

for (const button of document.querySelectorAll("[data-zoom]")) {
  button.addEventListener("click", () => ({ in: () => zoom(1.5), out: () => zoom(1 / 1.5), whole })[button.dataset.zoom]());
}
document.getElementById("remove")?.addEventListener("click", remove);
document.getElementById("undo")?.addEventListener("click", undo);
document.getElementById("only-missing").addEventListener("change", (event) => list.classList.toggle("only-missing", event.target.checked));

// --------------------------------------------------------------------------------------------- beginning

const marker = document.createElementNS(NAMES, "g");
marker.setAttribute("class", edits ? "cross" : "cross off");
marker.innerHTML = '<path d="M-16 0H-4M4 0H16M0 -16V-4M0 4V16"/>';
svg.append(marker);
new ResizeObserver(show).observe(view);
choose(chosen() || (edits && buttons().find((one) => !one.dataset.seen)) || buttons().find((one) => one.dataset.seen.startsWith(box.dataset.sheet)) || buttons()[0]);
