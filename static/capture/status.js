// What is saved where, in words that are true, and the list of what the server refused.

import * as beside from "./beside.js";
import { ask, el } from "./dom.js";
import { askReason } from "./dialogs.js";
import { contact, soon } from "./outbox.js";
import { here } from "./people.js";
import { region, t } from "./words.js";

// By hand: the line at the foot is drawn with each entry, and the browser's own formatting costs milliseconds.
export const clock = (date) => [date.getHours(), date.getMinutes()].map((part) => String(part).padStart(2, "0")).join(":");

/** Today a time is enough; of another day the day is said as well. */
export function when(instant) {
  const date = new Date(instant);
  const today = date.toDateString() === new Date().toDateString();
  return today ? clock(date) : `${date.toLocaleDateString(region(), { day: "numeric", month: "short" })} ${clock(date)}`;
}

export const signInAddress = () => `/sign-in/?next=${encodeURIComponent(location.pathname + location.search)}`;

function contactText() {
  const last = contact.last ? `, ${t("last contact {0}", when(contact.last))}` : "";
  return {
    no_network: t("No network") + last, no_answer: t("The server does not answer") + last, fault: `${contact.message} ${t("Sending is tried again by itself")}${last}`,
    signed_out: here.tablet ? "" : t("Signed out: sign in to send"), revoked: t("This tablet was revoked: bring it to the keeper"),
  }[contact.state] ?? "";
}

function othersText(waiting, badge) {
  const foreign = waiting.filter((row) => row.owner !== badge && !row.proof);
  const names = [...new Set(foreign.map((row) => row.name ?? row.owner))];
  return foreign.length ? t("{0} of {1} {0?waits for the|wait for their} sign-in", foreign.length, names.join(", ")) : "";
}

async function showWhere(person) {
  await (await import("./where.js")).showWhere(when, person); // seldom needed, as the photo's
}

const spot = (css) => el("span", { class: `spot ${css}` });
const part = (css, strong, rest = "") => el("span", { class: "part" }, spot(css), el("strong", {}, strong), rest);

/** The parts of the status line. `badge` is the person on this page; `besides` is what is kept beside the results. */
export function parts({ waiting: results, refused: first, besides = [], badge, person, sent = null, saving = 0, lost = 0, typed = [], onRefused, onTyped }) {
  const refused = [...first, ...besides.filter((row) => row.refused)];
  const waiting = [...results, ...besides.filter((row) => !row.refused)].sort((a, b) => a.since - b.since);
  const mine = waiting.filter((row) => row.owner === badge || row.proof);
  const others = othersText(waiting, badge);
  return [
    lost ? el("span", { class: "part bad" }, spot("refused"), el("strong", {}, t("NOT SAVED {0}", lost))) : null,
    saving ? part("saving", t("Not saved yet {0}", saving)) : null,
    mine.length ? el("button", { type: "button", id: "on-tablet", onclick: () => showWhere(person) }, spot("tablet"), el("strong", {}, t("On tablet {0}", mine.length)), ` ${t("since {0}", when(mine[0].since))}`) : null,
    sent === null ? (mine.length ? null : part("sent", t("All sent"))) : part("sent", t("Sent {0}", sent)),
    refused.length ? el("button", { type: "button", id: "refused", onclick: onRefused }, t("Refused {0}", refused.length)) : null,
    typed.length ? el("button", { type: "button", id: "typed", onclick: onTyped }, t("Typed, not entered {0}", typed.length)) : null,
    others ? el("span", { id: "others" }, others) : null,
    contactText() ? el("span", { id: "contact" }, contactText()) : null,
    contact.state === "signed_out" && !here.tablet ? el("a", { class: "big", id: "sign-in", href: signInAddress() }, t("Sign in")) : null,
    ["no_network", "no_answer", "fault"].includes(contact.state) && mine.length ? el("button", { type: "button", class: "now", onclick: () => soon(0) }, t("Send now")) : null,
  ];
}

/** The list of everything the server refused; `correct(row)` opens the checkpoint again. */
export async function showRefused(rows, by, correct) {
  await (await import("./refused.js")).showRefused(rows, by, correct, { when, refusedBeside });
}

/** One thing beside the results that the server did not take. `done()` is called when somebody has dealt with it. */
export function refusedBeside(row, by, done) {
  const act = (label, work) => el("button", { type: "button", class: "big", onclick: work }, label);
  const why = row.url.endsWith("/arcs") ? t("Nothing was welded") : row.photo ? t("Wrong photo") : t("Entered for the wrong unit");
  return el("div", { class: "banner" },
    el("p", {}, (row.body.serial ? row.body.serial + ", " : "") + `${row.label}: ${row.refused} ${t("Entered by {0}, {1}.", row.name, when(row.since))}`),
    el("div", { class: "answers" },
      act(t("Send again"), () => beside.again(row).then(done)),
      act(t("Discard …"), async () => {
        const reason = await askReason(t("Discard this entry"), t("It is never sent. Your name and your reason go to the audit."), [t("Entered twice"), why]);
        if (reason) await beside.discard(row, by, reason).then(done);
      })));
}
