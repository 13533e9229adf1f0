// A photo taken at a checkpoint: made smaller on the tablet, a mark put on it by tap or by keys. The mark lies beside the picture.

import { ask, el } from "./dom.js";
import { t } from "./words.js";

const EDGE = 1600;
const STEP = 20; // thousandths that an arrow key moves the cross

function chosen() {
  return new Promise((resolve) => {
    const field = el("input", { type: "file", accept: "image/*", capture: "environment", class: "out-of-sight", "aria-label": t("Photo"), onchange: () => resolve(field.files[0]), oncancel: () => resolve(null) });
    document.body.append(field);
    field.click();
    field.remove();
  });
}

async function smaller(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, EDGE / Math.max(picture.width, picture.height));
  const canvas = el("canvas", { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", 0.82); });
  return { canvas, buffer: await blob.arrayBuffer() };
}

function ring(pen, [x, y], size, ink) {
  for (const [width, colour] of [[size / 60, "#fff"], [size / 110, ink]]) {
    pen.beginPath();
    pen.arc(x, y, size / 18, 0, 7);
    pen.lineWidth = width;
    pen.strokeStyle = colour;
    pen.stroke();
  }
}

/** Draw the marks over the picture; `cross` is where the next one goes when keys are used. */
function paint(shown, source, marks, cross) {
  const pen = shown.getContext("2d");
  const size = Math.max(shown.width, shown.height);
  const at = ([x, y]) => [(x * shown.width) / 1000, (y * shown.height) / 1000];
  pen.drawImage(source, 0, 0, shown.width, shown.height);
  for (const mark of marks) ring(pen, at(mark), size, "#8C1823");
  if (cross) ring(pen, at(cross), size, "#0B4F5C");
}

/** Take a photo. Gives {buffer, marks, note}, or null. */
export async function takePhoto(title) {
  const file = await chosen();
  if (!file) return null;
  let taken;
  try {
    taken = await smaller(file);
  } catch {
    await ask(t("This is no picture that can be read."), (close) => el("div", { class: "then" }, el("button", { type: "button", class: "big go", "data-first": true, onclick: () => close(null) }, t("Back"))));
    return null;
  }
  return ask(title, (close) => marking(taken, close));
}

function marking({ canvas: source, buffer }, close) {
  const marks = [];
  let cross = null;
  const redraw = () => paint(shown, source, marks, cross);
  const put = (mark) => { if (marks.length < 20) marks.push(mark); redraw(); };
  const moves = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP] };
  const shown = el("canvas", {
    class: "photo-canvas", width: source.width, height: source.height, tabindex: "0", role: "application", "data-first": true,
    "aria-label": t("The photo. Tap where the imperfection is, or move with the arrow keys and press Enter."),
    onclick: (event) => {
      const box = shown.getBoundingClientRect();
      put([Math.round((1000 * (event.clientX - box.x)) / box.width), Math.round((1000 * (event.clientY - box.y)) / box.height)]);
    },
    onkeydown: (event) => {
      const move = moves[event.key];
      if (move) cross = (cross ?? [500, 500]).map((part, i) => Math.min(1000, Math.max(0, part + move[i])));
      else if (event.key === "Enter") { put(cross ?? [500, 500]); cross = null; } else return;
      event.preventDefault();
      redraw();
    },
  });
  redraw();
  const note = el("input", { maxlength: "200", autocomplete: "off" });
  return el("div", { class: "picks" },
    el("p", {}, t("Tap where the imperfection is, or keep the photo as it is.")), shown,
    el("label", { class: "floor-field" }, t("Note (may stay empty)"), note),
    el("div", { class: "then" },
      el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back")),
      el("button", { type: "button", class: "big", onclick: () => { marks.pop(); redraw(); } }, t("Take the last mark away")),
      el("button", { type: "button", class: "big go", id: "keep-photo", onclick: () => close({ buffer, marks, note: note.value.trim() }) }, t("Keep the photo"))));
}
