// What can be done at a checkpoint beside answering it: photo, note, not now, a doubtful gauge, a report; and how the part stands.

import { tone } from "./band.js";
import * as beside from "./beside.js";
import { askReason } from "./dialogs.js";
import { el, tell } from "./dom.js";
import * as outbox from "./outbox.js";
import { refusedBeside } from "./status.js";
import * as store from "./store.js";
import { askMark } from "./spot.js";
import { draw, gaugeFor, me, nextAfter, plain, seen, serial, state } from "./unit.js";
import { t } from "./words.js";

/** What of this waits on the tablet. */
export let waiting = [];
let sent = []; // sent, and not in the unit's data yet

/** Read what waits; `fetched` says that the unit's data came from the server a moment ago. */
export async function read(fetched = false) {
  const rows = await beside.rows().catch(() => []);
  sent = fetched ? [] : [...sent, ...waiting.filter((one) => !rows.some((row) => row.id === one.id))];
  waiting = rows;
  for (const { url, body } of waiting) if (url.endsWith("/doubt")) setAside(decodeURIComponent(url.split("/")[4]), body.reason);
}

const own = (row) => row.body.serial === serial;
const here = (c) => [...waiting, ...sent].filter((row) => own(row) && row.body.checkpoint === c.key);

/** The remarks of a checkpoint, those on the tablet too. */
export const remarks = (c) => [...(c.remarks ?? []), ...here(c).filter((row) => row.body.kind).map((row) => ({ ...row.body, by: row.name }))];
const photosHere = (c) => here(c).filter((row) => row.photo);
export const wantsPhoto = (c) => c.photo && c.due && !c.photo_taken && !photosHere(c).length;

/** Why it cannot be checked now, while it is open. */
export const notNow = (c) => (c.outcome ? null : remarks(c).filter((one) => one.kind === "not_now").at(-1) ?? null);

async function place(c) {
  const inspection = seen(c).inspection_seen ?? { second: 2, third: 3 }[c.task] ?? 1;
  return { serial, checkpoint: c.key, round: c.round, inspection, device: (await store.getMeta("device")) ?? "tablet", recorded_at: new Date().toISOString() };
}

async function keep(...what) {
  try {
    await beside.keep(me(), ...what);
  } catch (error) {
    await tell(t("Not saved"), el("p", {}, t("The tablet did not keep this ({0}). Write it on paper and tell the keeper.", store.whyNot(error))));
    return false;
  }
  await read();
  draw.all();
  return true;
}

let loading = false;
// Seldom needed, so not part of what a bench loads to begin; a second tap while it is on its way opens nothing.
async function alone(load) {
  if (loading) return null;
  loading = true;
  try { return await load(); } finally { loading = false; }
}
export const questions = () => alone(() => import("./questions.js"));

async function photo(c) {
  const taken = await (await alone(() => import("./photo.js")))?.takePhoto(t("Photo at {0}", c.number));
  if (!taken) return;
  const { buffer, marks, note } = taken;
  await keep("/api/v1/photos", { ...(await place(c)), name: `${serial}-${c.number}.jpg`, marks, note, of_result: seen(c).operation ?? null }, { photo: buffer, label: t("Photo at {0}", c.number) });
}

async function remark(c, kind, text) {
  return keep("/api/v1/remarks", { ...(await place(c)), kind, text }, { label: text });
}

async function note(c) {
  const text = await askReason(t("Note at {0}", c.number), t("It is kept beside the answer and read in the office."), [], t("Keep the note"));
  if (text) await remark(c, "note", text);
}

async function later(c, go) {
  const reason = await (await questions())?.whyNotNow();
  if (!reason || !(await remark(c, "not_now", reason))) return;
  const next = nextAfter(c.key);
  if (next) go(plain(next.key));
}

function setAside(number, reason) {
  const gauge = state.data?.gauges.find((one) => one.number === number);
  if (!gauge) return;
  Object.assign(gauge, { usable: false, sentence: reason });
  if (state.inHand[gauge.kind] === number) delete state.inHand[gauge.kind];
}

async function doubt(gauge) {
  const reason = await (await questions())?.whatIsDoubtful(gauge);
  if (reason) await keep(`/api/v1/gauges/${encodeURIComponent(gauge.number)}/doubt`, { gauge: gauge.number, reason }, { label: gauge.number });
}

async function report(c) {
  const severity = await (await questions())?.whatIsWrong();
  if (!severity) return;
  try {
    const { ok, body } = await outbox.post("/api/v1/reports", { serial, checkpoint: c.key, ...severity }, await outbox.tokenOf(me()));
    await tell(ok ? t("{0} is open", body.number) : t("Not reported"), el("p", {}, ok ? t("The unit is on hold.") : body.message));
    if (ok && c.spot) await markDefect(c);
  } catch (error) {
    if (await remark(c, "note", severity.title)) await tell(t("Not reported yet"), el("p", {}, error instanceof outbox.Stranger ? error.message : t("No answer from the server. What you wrote is kept as a note; report it when the network is back.")));
  }
}

// It waits behind the results, so that the report about them is there when it comes.
async function markDefect(c) {
  const at = await askMark(c);
  if (at) await keep("/api/v1/marks", { serial, checkpoint: c.key, ...at }, { label: t("Mark at {0}", c.number) });
}

/** Ask once for a stage and set-up how the part stands. False when the question was left. */
export async function askSetup(c) {
  const alike = state.data.checkpoints.filter((one) => one.stage === c.stage && one.setup === c.setup);
  if (!c.setup || alike.some((one) => remarks(one).some((said) => said.kind === "setup"))) return true;
  const said = await (await questions())?.howItStands(c);
  return said ? remark(c, "setup", said) : false;
}

// ---- what stands on the page

function thumbnails(c) {
  const overlay = (marks) => marks.map(([x, y]) => { const dot = el("span", { class: "photo-mark" }); dot.style.left = `${x / 10}%`; dot.style.top = `${y / 10}%`; return dot; });
  const sent = (c.photos ?? []).map((one) => el("a", { class: "thumb", href: `/evidence/${one.file}/`, target: "_blank", rel: "noopener" }, el("img", { src: `/evidence/${one.file}/small/`, alt: t("Photo at {0}", c.number) }), overlay(one.marks)));
  const kept = photosHere(c).map((row) => el("span", { class: "thumb" }, el("img", { src: URL.createObjectURL(new Blob([row.photo], { type: "image/jpeg" })), alt: t("Photo at {0}", c.number), onload: (event) => URL.revokeObjectURL(event.target.src) }), overlay(row.body.marks)));
  return sent.length + kept.length ? el("div", { class: "thumbs" }, sent, kept) : null;
}

/** The acts and what was said and taken at a checkpoint; `go(checkpoint)` moves on. */
export function panel(c, go) {
  const act = (id, label, work, css = "") => el("button", { type: "button", class: `big ${css}`, id, onclick: work }, label);
  const gauge = gaugeFor(c);
  const open = c.due && !c.outcome && c.kind !== "derived";
  const mine = waiting.filter((row) => row.refused && own(row));
  return el("section", { class: "panel beside", "aria-label": t("Photo, note and more") },
    mine.map((row) => refusedBeside(row, me().badge, async () => { await read(); draw.all(); })),
    wantsPhoto(c) ? el("p", { class: "banner near", id: "wants-photo" }, t("The plan asks for a photo here. Without it the stage cannot be signed.")) : null,
    gauge?.setup && (gauge.setup === "due" || gauge.setup < new Date().toISOString()) && !waiting.some((row) => row.body.gauge === gauge.number)
      ? el("a", { class: "banner near", id: "setup-due", href: `/floor/setup/?gauge=${encodeURIComponent(gauge.number)}&next=${encodeURIComponent(location.pathname + location.search)}` }, t("Check {0} on its master before you measure", gauge.number)) : null,
    thumbnails(c),
    remarks(c).map((one) => el("p", { class: "remark" }, el("strong", {}, { note: t("Note"), not_now: t("Cannot be checked now"), setup: t("Set-up") }[one.kind]), ` ${one.kind === "setup" ? t(one.text) : one.text} (${one.by})`)),
    el("div", { class: "answers" },
      act("photo", t("Photo"), () => photo(c), wantsPhoto(c) && c.outcome ? "go" : ""), act("note", t("Note"), () => note(c)),
      open ? act("not-now", t("Not now"), () => later(c, go)) : null,
      gauge && gauge.kind !== "eye" ? act("set-aside", t("Doubt {0}", gauge.number), () => doubt(gauge)) : null,
      c.joint ? el("a", { class: "big", href: `/units/${encodeURIComponent(serial)}/weld/` }, t("Weld")) : null,
      c.spot && (c.report || tone(c.outcome) === "out") ? act("mark", t("Mark on the drawing"), () => markDefect(c)) : null,
      act("report", t("Report"), () => report(c))));
}

/** After each sending of these `then()` is called: the server's own view of the unit comes next. */
export const follow = (then) => beside.follow(async () => { await read(); draw.foot(); then(); });
