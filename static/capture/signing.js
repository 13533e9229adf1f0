// Signing a stage: what is signed, in words, and the PIN; where there is no network the tablet keeps the signature.

import { wantsPhoto } from "./acts.js";
import { ask, el, fill, keypad, tell, typed } from "./dom.js";
import * as outbox from "./outbox.js";
import { here, signature } from "./people.js";
import * as store from "./store.js";
import { inStage, me, serial, stageOf, standing, state } from "./unit.js";
import { t } from "./words.js";

/** Sign the stage that is shown, by PIN. Gives {offline} once it is signed, and nothing where it is not. */
export async function signStage() {
  const stage = stageOf(state.stage);
  await outbox.flush();
  const away = ["no_network", "no_answer", "fault"].includes(outbox.contact.state);
  const offline = away && here.unlocked;
  const photos = inStage().filter(wantsPhoto).map((c) => c.number);
  const notYet = photos.length ? t("The plan asks for a photo at {0}. Take it, then sign.", photos.join(", "))
    : !offline && away ? t("This browser is no shared tablet: here a stage is signed with network. What you entered is kept and sent by itself.")
      : !offline && (await store.waiting()).some((row) => row.operation.serial === serial) ? t("Entries of this unit are still on this tablet. The stage can be signed as soon as they are sent.") : "";
  if (notYet) { await tell(t("Not yet"), el("p", {}, notYet)); return null; }
  const meaning = t("I sign that stage {0} {1} of {2} is recorded truly and completely. Checkpoints: {3}. It does not say that all of them conform.", stage.number, stage.name, serial, inStage().length);
  const record = { id: outbox.uuid7(), v: 1, kind: "sign_off", serial, revision: state.data.revision.uuid, stage: stage.number, covers: state.data.checkpoints.filter((c) => c.stage === stage.number && c.kind !== "derived").flatMap(standing).sort(), meaning, recorded_at: new Date().toISOString(), recorded_by: me().badge };
  const signed = await askPin(t("Sign stage {0}", stage.number), offline ? `${meaning} ${t("The server confirms it later.")}` : meaning, async (pin) => {
    try {
      if (offline) {
        await store.keep({ operation: record, owner: me().badge, name: me().name, proof: await signature(record, pin) });
        return null;
      }
      const { ok, body: said } = await outbox.post(`/api/v1/units/${encodeURIComponent(serial)}/sign-offs`, { stage: stage.number, pin }, await outbox.tokenOf(me()));
      return ok ? null : said.message;
    } catch (error) {
      if (offline || error instanceof outbox.Stranger) return error.message;
      return error instanceof outbox.SignedOut ? t("You are signed out. Sign in again; nothing was signed.") : t("No answer from the server. Look whether the stage shows as signed before you try again.");
    }
  });
  return signed && { offline };
}

/** The sentence with the serial in one piece: a line that ends at its hyphen reads as two numbers. */
function whole(meaning) {
  const [before, ...after] = meaning.split(serial);
  return [before, el("span", { class: "serial" }, serial), after.join(serial)];
}

/** Ask for a PIN under a sentence; `send(pin)` posts it and gives null or the error sentence. Resolves true when signed. */
function askPin(title, meaning, send) {
  return ask(title, (close) => {
    let pin = "";
    let busy = false;
    const field = el("input", {
      type: "password", inputmode: "none", autocomplete: "off", maxlength: "8", class: "pin-dots", "aria-label": t("Your PIN"), "data-first": true,
      oninput: (event) => { pin = event.target.value; },
    });
    const error = el("p", { class: "typing-error banner", role: "alert", hidden: true });
    const press = (key) => {
      if (key === "enter") { submit(); return; }
      field.value = typed(field.value, key);
      pin = field.value;
    };
    const keys = keypad(press, { decimals: false, sign: false, enter: t("Sign") });
    async function submit() {
      if (pin === "" || busy) { field.focus(); return; }
      busy = true;
      const problem = await send(pin);
      busy = false;
      if (problem === null) { close(true); return; }
      fill(error, problem);
      error.hidden = false;
      field.value = "";
      pin = "";
      field.focus({ preventScroll: true });
      keys.scrollIntoView({ block: "nearest" }); // the sentence has pushed them down
    }
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); submit(); } });
    return el("div", { class: "pin-row" },
      el("div", { class: "picks" }, el("p", {}, whole(meaning)), el("label", { class: "floor-field" }, t("Your PIN"), field), error),
      keys, el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back"))));
  });
}
