// Picking up a unit with the camera: read in the browser where it can, else from a photo on the server.

import { el, find } from "./dom.js";
import * as outbox from "./outbox.js";
import * as store from "./store.js";
import { chosen, learn, t } from "./words.js";

await learn(chosen(await store.getMeta("person").catch(() => null)));

const field = find("#scan [name=serial]");

function found(text) {
  field.value = text;
  find("#scan").requestSubmit();
}

function problem(sentence) {
  find("#problem").replaceChildren(el("div", { class: "banner", role: "alert" }, el("p", {}, sentence)));
}

async function onServer(file) {
  try {
    const { csrf_token: token } = await outbox.session();
    const body = new FormData();
    body.append("photo", file);
    const answer = await fetch("/floor/decode/", { method: "POST", body, headers: { "X-CSRFToken": token, Accept: "application/json" }, signal: AbortSignal.timeout(15000) });
    const { text, message } = await answer.json();
    if (text) found(text);
    else problem(message ?? t("No code was found in the photo."));
  } catch {
    problem(t("The photo could not be read without network. Type the serial number."));
  }
}

function fromPhoto() {
  const chosen = el("input", { type: "file", accept: "image/*", capture: "environment", onchange: () => { if (chosen.files[0]) onServer(chosen.files[0]); } });
  chosen.click();
}

async function live() {
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    fromPhoto();
    return;
  }
  const video = el("video", { autoplay: true, playsinline: true, muted: true, class: "photo-canvas" });
  const dialog = el("dialog", { "aria-label": t("Scan with the camera") }, el("div", { class: "inside" }, el("h2", {}, t("Hold the code into the picture")), video,
    el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => dialog.close() }, t("Back")))));
  dialog.addEventListener("close", () => { for (const track of stream.getTracks()) track.stop(); dialog.remove(); });
  document.body.append(dialog);
  dialog.showModal();
  video.srcObject = stream;
  const detector = new BarcodeDetector();
  const look = async () => {
    if (!dialog.open) return;
    const [code] = await detector.detect(video).catch(() => []);
    if (code) { dialog.close(); found(code.rawValue); } else setTimeout(look, 150);
  };
  look();
}

find("#scan").append(el("button", { type: "button", class: "big", id: "camera", onclick: () => ("BarcodeDetector" in globalThis && navigator.mediaDevices ? live() : fromPhoto()) }, t("Camera")));
