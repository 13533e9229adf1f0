// What is saved where, in words that are true, and the list of what the server refused.

import { ask, el } from "./dom.js";
import { askReason } from "./dialogs.js";
import { contact, soon, uuid7 } from "./outbox.js";
import * as store from "./store.js";
import { showWhere } from "./where.js";

const USUAL_DISCARD = ["Entered for the wrong unit", "Entered twice", "Answered by another person meanwhile"];

// By hand: the line at the foot is drawn with each entry, and the browser's own formatting costs milliseconds.
export const clock = (date) => [date.getHours(), date.getMinutes()].map((part) => String(part).padStart(2, "0")).join(":");

/** Today a time is enough; of another day the day is said as well. */
export function when(instant) {
  const date = new Date(instant);
  const today = date.toDateString() === new Date().toDateString();
  return today ? clock(date) : `${date.toLocaleDateString("en-GB", { day: "numeric", month: "short" })} ${clock(date)}`;
}

export const signInAddress = () => `/sign-in/?next=${encodeURIComponent(location.pathname + location.search)}`;

function contactText() {
  const last = contact.last ? `, last contact ${when(contact.last)}` : "";
  return {
    no_network: `No network${last}`, no_answer: `The server does not answer${last}`, fault: `${contact.message} Sending is tried again by itself${last}`,
    signed_out: "Signed out: sign in to send", revoked: "This tablet was revoked: bring it to the keeper",
  }[contact.state] ?? "";
}

function othersText(waiting, badge) {
  const foreign = waiting.filter((row) => row.owner !== badge && !row.proof);
  const names = [...new Set(foreign.map((row) => row.name ?? row.owner))];
  return foreign.length ? `${foreign.length} of ${names.join(" and ")} wait for their sign-in` : "";
}

const spot = (css) => el("span", { class: `spot ${css}` });
const part = (css, strong, rest = "") => el("span", { class: "part" }, spot(css), el("strong", {}, strong), rest);

/** The parts of the status line. `badge` is the person on this page. */
export function parts({ waiting, refused, badge, person, sent = null, saving = 0, lost = 0, typed = [], onRefused, onTyped }) {
  const mine = waiting.filter((row) => row.owner === badge || row.proof);
  const others = othersText(waiting, badge);
  return [
    lost ? el("span", { class: "part bad" }, spot("refused"), el("strong", {}, `NOT SAVED ${lost}`)) : null,
    saving ? part("saving", `Not saved yet ${saving}`) : null,
    mine.length ? el("button", { type: "button", id: "on-tablet", onclick: () => showWhere(when, person) }, spot("tablet"), el("strong", {}, `On tablet ${mine.length}`), ` since ${when(mine[0].since)}`) : null,
    sent === null ? (mine.length ? null : part("sent", "All sent")) : part("sent", `Sent ${sent}`),
    refused.length ? el("button", { type: "button", id: "refused", onclick: onRefused }, `Refused ${refused.length}`) : null,
    typed.length ? el("button", { type: "button", id: "typed", onclick: onTyped }, `Typed, not entered ${typed.length}`) : null,
    others ? el("span", { id: "others" }, others) : null,
    contactText() ? el("span", { id: "contact" }, contactText()) : null,
    contact.state === "signed_out" ? el("a", { class: "big", id: "sign-in", href: signInAddress() }, "Sign in") : null,
    ["no_network", "no_answer", "fault"].includes(contact.state) && mine.length ? el("button", { type: "button", onclick: () => soon(0) }, "Send now") : null,
  ];
}

/** Everything the server refused, each with its reason and the ways out. `correct(row)` opens the checkpoint again. */
export async function showRefused(rows, by, correct) {
  const redo = await ask("Refused by the server", (close) => el("div", { class: "picks" },
    el("p", {}, "These entries are kept on this tablet until somebody has dealt with them."),
    rows.map((row) => refusedEntry(row, by, close)),
    el("div", { class: "then" }, el("button", { type: "button", class: "big go", "data-first": true, onclick: () => close(null) }, "Back"))));
  if (redo) await correct(redo);
}

function refusedEntry(row, by, close) {
  const { operation, message, name, owner } = row;
  const act = (label, work) => el("button", { type: "button", class: "big", onclick: work }, label);
  return el("div", { class: "banner" },
    el("p", {}, `${operation.serial}, ${operation.checkpoint ? `${operation.checkpoint}: ${operation.raw}` : operation.meaning}`),
    el("p", {}, `${message} Entered by ${name ?? owner}, ${when(operation.recorded_at)}.`),
    el("div", { class: "answers" },
      operation.checkpoint ? act("Correct", () => close(row)) : null,
      operation.checkpoint && owner === by ? act("Other unit …", async () => {
        const serial = await askSerial(operation.serial);
        if (!serial) return;
        const other = { ...operation, id: uuid7(), serial, round: 1, base: null, purpose: "reading", reason: "" };
        await store.keep({ operation: other, owner, name, instead: operation.id });
        close(null);
        soon(0);
      }) : null,
      act("Send again", async () => { await store.sendAgain(operation.id); close(null); soon(0); }),
      act("Discard …", async () => {
        const reason = await askReason("Discard this entry", "It never becomes a result. Your name and your reason go to the audit.", USUAL_DISCARD);
        if (reason) { await store.discard(operation.id, by, reason); close(null); soon(0); }
      })));
}

/** The unit that an entry belongs to instead; the value stays as it was measured. */
function askSerial(wrong) {
  return ask(`Not ${wrong}: which unit was measured?`, (close) => {
    const field = el("input", { "data-first": true, id: "right-unit", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", maxlength: "40" });
    const take = () => { const typed = field.value.trim().toUpperCase(); if (typed && typed !== wrong) close(typed); else field.focus(); };
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); take(); } });
    return el("div", { class: "picks" }, el("label", { class: "floor-field" }, "Scan or type its serial number", field),
      el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, "Back"), el("button", { type: "button", class: "big go", onclick: take }, "Record it there")));
  });
}
