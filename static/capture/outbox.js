// Sends what the store holds. The server answers per operation; only its word empties the outbox.

import * as store from "./store.js";
import { t } from "./words.js";

const TIMEOUT = 8000;
const BATCH = 160; // a whole frame; the server takes 200
const SILENCE = 45000; // after so long without a word the server is asked for one, so that "last contact" is true

let timer = null;
let wait = 1000;
let asking = true; // after a pause the session may be another person's
const listeners = [];
const tabs = "BroadcastChannel" in globalThis ? new BroadcastChannel("qcapp") : null;
export const contact = { last: null, state: "new", message: "", person: null };
store.getMeta("contact").then((at) => { contact.last ??= at ?? null; }).catch(() => {}); // before this page was opened

export class SignedOut extends Error {}
export class Stranger extends Error {}
class Later extends Error {}

/** `listener(verdicts)` is called after every try to send, and after one in another tab. */
export function onChange(listener) {
  listeners.push(listener);
}

async function tell(verdicts = []) {
  for (const listener of listeners) await listener(verdicts);
}

if (tabs) tabs.onmessage = (event) => tell(event.data);

async function call(url, options = {}) {
  const response = await fetch(url, {
    credentials: "same-origin", redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(TIMEOUT), ...options,
    headers: { "Accept-Language": document.documentElement.lang, ...options.headers },
  });
  if (response.type === "opaqueredirect" || response.status === 401) throw new SignedOut(t("Nobody is signed in."));
  return response;
}

function heard() {
  contact.last = new Date();
  store.setMeta("contact", contact.last).catch(() => {});
}

/** The session as the server sees it; raises SignedOut. The CSRF token is fetched fresh: one in a page goes stale. */
export async function session() {
  const body = await align(await asked());
  contact.person = body.person;
  contact.revoked = Boolean(body.tablet?.revoked);
  if (!body.person && !contact.revoked) throw new SignedOut(t("Nobody is signed in."));
  await heedEpoch(body.epoch);
  return body;
}

let align = async (body) => body;
/** `work(session)` gives the session of whoever works on this tablet. */
export const alignBy = (work) => { align = work; };

/** A fresh token, whoever is signed in. */
export const token = async () => (await asked()).csrf_token;

/** A fresh token for what this person does now; raises Stranger where somebody else has signed in meanwhile. */
export async function tokenOf(mine) {
  const { csrf_token: fresh, person } = await session();
  if (person?.badge !== mine.badge) throw new Stranger(t("{0} is signed in on this tablet now. This page was opened by {1}.", person?.name, mine.name));
  return fresh;
}

let besides = async () => [];
/** `work()` gives what waits beside the results, oldest first. */
export const countBy = (work) => { besides = work; };

/** What the office has to know: how much waits here, and since when. */
async function unsent() {
  const rows = [...await store.waiting(), ...await besides().catch(() => [])];
  return { count: rows.length, since: rows.length ? new Date(Math.min(...rows.map((row) => row.since))).toISOString() : null };
}

/** The session as it is, whoever works here. */
export async function asked() {
  const { count, since } = await unsent();
  const said = new URLSearchParams({ unsent: count, since: since ?? "", version: await version() });
  const response = await call(`/api/v1/session?${said}`);
  if (!response.ok) throw new Later(t("The server answers with a fault ({0}).", response.status));
  heard();
  return response.json();
}

let before = async () => {};
/** What is sent before the results, because they rest on it; before a signature all that waits of the unit `serial`. */
export const sendBefore = (work) => { before = work; };

const version = async () => (globalThis.caches ? (await caches.keys()).filter((name) => name.startsWith("qcapp-")).map((name) => name.slice(6)).join(" ") : "");

let restored = async () => {};
/** `work()` lets everything go out once more that a restored server may have lost. */
export const onRestore = (work) => { restored = work; };

async function heedEpoch(epoch) {
  const known = await store.getMeta("epoch");
  if (known === epoch) return;
  if (known) { await store.resendAll(); await restored(); }
  await store.setMeta("epoch", epoch);
}

/** The head under which something of `owner`'s goes out: as it is for who is signed in, with the owner's proof for
 *  anybody else; null where it has to wait for its owner. */
export function headFor(owner, proof) {
  if (owner === contact.person?.badge) return {};
  return proof ? { "X-Entry-Proof": `${proof.key} ${proof.signature}` } : null;
}

/** POST json with a fresh token. Gives {ok, status, body}. */
export async function post(url, data, fresh = null, head = {}) {
  const token = fresh ?? (await session()).csrf_token;
  const response = await call(url, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRFToken": token, ...head },
    body: JSON.stringify(data),
  });
  const body = await response.json().catch(() => ({ code: "unreadable", message: t("The server's answer could not be read.") }));
  heard();
  return { ok: response.ok, status: response.status, body };
}

export async function get(url) {
  const response = await call(url, { headers: { Accept: "application/json" } });
  const body = await response.json();
  heard();
  if (!response.ok) throw Object.assign(new Error(body.message), { body });
  return body;
}

/** Ask for a sending soon. */
export function soon(delay = 30) {
  clearTimeout(timer);
  timer = setTimeout(flush, delay);
}

/** Send everything that is mine. One sender at a time, over all tabs. */
export async function flush() {
  const run = async (lock) => { if (lock) await attempt(); };
  if (navigator.locks) await navigator.locks.request("qcapp-flush", { ifAvailable: true }, run);
  else await run(true);
}

async function attempt() {
  try {
    contact.state = await sendAll();
    wait = 1000;
    await tell();
  } catch (error) {
    contact.state = stateOf(error);
    contact.message = error.message;
    await tell();
    if (contact.state === "signed_out") return;
    soon(wait + Math.random() * 500);
    wait = Math.min(wait * 2, 30000);
  }
}

function stateOf(error) {
  if (error instanceof SignedOut) return "signed_out";
  if (error instanceof Later) return "fault";
  if (error?.name === "TimeoutError") return "no_answer";
  return error instanceof TypeError ? "no_network" : "fault";
}

/** Gives "sent" when nothing waits, "others" when what waits belongs to people who are not signed in. */
async function sendAll() {
  const device = await deviceId();
  let size = BATCH;
  let token = null;
  if (asking || !contact.last || Date.now() - contact.last > SILENCE || (await store.waiting()).length) token = (await session()).csrf_token;
  asking = false;
  await before();
  for (;;) {
    const rows = await store.waiting();
    if (rows.length === 0) { await tellDiscards(); return contact.revoked ? "revoked" : "sent"; }
    let mine = rows.filter((row) => row.proof || contact.revoked || row.owner === contact.person?.badge).slice(0, size);
    if (mine.length === 0) return "others";
    // A signature covers a stage with its photos: the results go, then the photos, then the signature.
    const signing = mine.findIndex((row) => row.operation.kind === "sign_off");
    if (signing > 0) mine = mine.slice(0, signing);
    if (signing === 0) await before(mine[0].operation.serial);
    const held = await unsent();
    const { ok, status, body } = await post("/api/v1/operations", {
      device, sent_at: new Date().toISOString(), operations: mine.map((row) => row.operation),
      waiting: held.count, waiting_since: held.since,
      proofs: Object.fromEntries(mine.filter((row) => row.proof).map((row) => [row.operation.id, row.proof])),
    }, token);
    token = null;
    if (ok && Array.isArray(body.operations)) {
      await settled(mine, body.operations);
    } else if (![400, 409, 413, 422].includes(status)) {
      throw new Later(body.message ?? t("The server answers with a fault ({0}).", status));
    } else if (mine.length > 1) {
      size = 1; // one bad entry must not hold up the others
    } else {
      await settled(mine, [{ id: mine[0].operation.id, ...body, outcome: "rejected" }]);
    }
  }
}

// What a person discarded is written down by the server too, with the reason.
async function tellDiscards() {
  if (!contact.person) return;
  for (const row of (await store.closed()).filter((one) => one.why === "discarded" && !one.told)) {
    const head = headFor(row.by, row.told_by);
    if (!head) continue;
    const { ok, status } = await post(store.DISCARDS, { operation: row.operation, reason: row.reason }, null, head);
    if (ok || status === 400) await store.discardTold(row);
  }
}

async function settled(rows, verdicts) {
  await store.settle(rows, verdicts);
  await tell(verdicts);
  tabs?.postMessage(verdicts);
}

async function deviceId() {
  let id = await store.getMeta("device");
  if (!id) {
    id = `tablet-${uuid7().slice(-12)}`;
    await store.setMeta("device", id);
  }
  return id;
}

/** A UUID of version 7 (RFC 9562, 5.7): time-ordered, made on the tablet, so that sending twice is harmless. */
export function uuid7() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let time = Date.now();
  for (let i = 5; i >= 0; i -= 1) { bytes[i] = time % 256; time = Math.floor(time / 256); }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

function again() {
  asking = true;
  soon();
}

for (const happening of ["online", "offline", "pageshow", "focus"]) addEventListener(happening, again);
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") again(); });
setInterval(() => soon(), 15000);
