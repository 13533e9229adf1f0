// Everything the server refused, each with its reason and the ways out: correct, the right unit, again, discard.

import * as beside from "./beside.js";
import { askReason } from "./dialogs.js";
import { ask, el } from "./dom.js";
import { soon, uuid7 } from "./outbox.js";
import * as store from "./store.js";
import { local, t } from "./words.js";

/** `correct(row)` opens the checkpoint again; `when` writes an instant, `refusedBeside` shows what is no result. */
export async function showRefused(rows, by, correct, { when, refusedBeside }) {
  const besides = (await beside.rows()).filter((row) => row.refused);
  const names = await Promise.all(rows.map(({ operation }) => nameOf(operation)));
  const redo = await ask(t("Refused by the server"), (close) => el("div", { class: "picks" },
    el("p", {}, t("These entries are kept on this tablet until somebody has dealt with them.")),
    rows.map((row, i) => refusedEntry(row, names[i], by, close, when)), besides.map((row) => refusedBeside(row, by, () => close(null))),
    el("div", { class: "then" }, el("button", { type: "button", class: "big go", "data-first": true, onclick: () => close(null) }, t("Back")))));
  if (redo) await correct(redo);
}

/** The checkpoint as somebody on the floor knows it, where the unit was taken along; its key where it was not. */
async function nameOf({ serial, checkpoint }) {
  const units = await store.unitOfAny(serial).catch(() => []);
  const found = units.flatMap(({ data }) => data.checkpoints).find((c) => c.key === checkpoint);
  return found ? `${found.number} ${found.title}` : checkpoint;
}

function refusedEntry(row, checkpoint, by, close, when) {
  const { operation, message, name, owner } = row;
  const act = (label, work) => el("button", { type: "button", class: "big", onclick: work }, label);
  return el("div", { class: "banner" },
    el("p", {}, `${operation.serial}, ` + (operation.checkpoint ? `${checkpoint}: ${local(operation.raw)}` : operation.meaning)),
    el("p", {}, `${message} ${t("Entered by {0}, {1}.", name ?? owner, when(operation.recorded_at))}`),
    el("div", { class: "answers" },
      operation.checkpoint ? act(t("Correct"), () => close(row)) : null,
      operation.checkpoint && owner === by ? act(t("Other unit …"), async () => {
        const serial = await askSerial(operation.serial);
        if (!serial) return;
        const other = { ...operation, id: uuid7(), serial, round: 1, base: null, purpose: "reading", reason: "" };
        await store.keep({ operation: other, owner, name, instead: operation.id });
        close(null);
        soon(0);
      }) : null,
      act(t("Send again"), async () => { await store.sendAgain(operation.id); close(null); soon(0); }),
      act(t("Discard …"), async () => {
        const reason = await askReason(t("Discard this entry"), t("It never becomes a result. Your name and your reason go to the audit."),
          [t("Entered for the wrong unit"), t("Entered twice"), t("Answered by another person meanwhile")]);
        if (reason) { await store.discard(operation.id, by, reason); close(null); soon(0); }
      })));
}

/** The unit that an entry belongs to instead; the value stays as it was measured. */
function askSerial(wrong) {
  return ask(t("Not {0}: which unit was measured?", wrong), (close) => {
    const field = el("input", { "data-first": true, id: "right-unit", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", maxlength: "40" });
    const take = () => { const typed = field.value.trim().toUpperCase(); if (typed && typed !== wrong) close(typed); else field.focus(); };
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); take(); } });
    return el("div", { class: "picks" }, el("label", { class: "floor-field" }, t("Scan or type its serial number"), field),
      el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back")), el("button", { type: "button", class: "big go", onclick: take }, t("Record it there"))));
  });
}
