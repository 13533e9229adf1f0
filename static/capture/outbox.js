// Sends what the store holds. The server answers per operation; only its word empties the outbox.

import * as store from "./store.js";

const TIMEOUT = 8000;
const BATCH = 50;

let timer = null;
let wait = 1000;
let listeners = [];
export const contact = { last: null, state: "new", message: "" };

export function onChange(listener) {
  listeners.push(listener);
}

async function tell(verdicts = []) {
  for (const listener of listeners) await listener(verdicts);
}

async function call(url, options = {}) {
  const response = await fetch(url, {
    credentials: "same-origin", redirect: "manual", cache: "no-store",
    signal: AbortSignal.timeout(TIMEOUT), ...options,
  });
  if (response.type === "opaqueredirect" || response.status === 401) throw new SignedOut();
  return response;
}

export class SignedOut extends Error {}

/** The session as the server sees it; raises SignedOut. The CSRF token is fetched fresh: one in a page goes stale. */
export async function session() {
  const response = await call("/api/v1/session");
  if (!response.ok) throw new Error(`session ${response.status}`);
  const body = await response.json();
  if (!body.person) throw new SignedOut();
  return body;
}

/** POST json with a fresh token. Returns {ok, status, body}. */
export async function post(url, data) {
  const { csrf_token: token } = await session();
  const response = await call(url, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRFToken": token },
    body: JSON.stringify(data),
  });
  const body = await response.json().catch(() => ({ code: "unreadable", message: "The server's answer could not be read." }));
  contact.last = new Date();
  return { ok: response.ok, status: response.status, body };
}

export async function get(url) {
  const response = await call(url, { headers: { Accept: "application/json" } });
  const body = await response.json();
  contact.last = new Date();
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
  const run = async (lock) => { if (lock) await sendAll(); };
  if (navigator.locks) await navigator.locks.request("qcapp-flush", { ifAvailable: true }, run);
  else await run(true);
}

async function sendAll() {
  const device = await deviceId();
  let me = null;
  for (;;) {
    const rows = await store.waiting();
    if (rows.length === 0) { contact.state = "sent"; wait = 1000; await tell(); return; }
    try {
      me ??= (await session()).person.badge;
      const mine = rows.filter((row) => row.owner === me).slice(0, BATCH);
      if (mine.length === 0) { contact.state = "others"; await tell(); return; }
      const { ok, status, body } = await post("/api/v1/operations", {
        device, sent_at: new Date().toISOString(), operations: mine.map((row) => row.operation),
      });
      if (!ok) {
        if (status >= 500 || [408, 425, 429].includes(status)) throw new Error(body.message ?? `status ${status}`);
        if (status === 403) throw new SignedOut();
        // The whole request was refused: no entry is lost, each is shown with the reason.
        await store.settle(mine, mine.map((row) => ({ id: row.operation.id, outcome: "rejected", ...body })));
        await tell();
        continue;
      }
      await store.settle(mine, body.operations);
      await tell(body.operations);
    } catch (error) {
      contact.state = error instanceof SignedOut ? "signed_out" : "no_network";
      contact.message = error.message;
      await tell();
      if (contact.state === "no_network") { soon(wait + Math.random() * 500); wait = Math.min(wait * 2, 30000); }
      return;
    }
  }
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

for (const happening of ["online", "pageshow"]) addEventListener(happening, () => soon());
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") soon(); });
setInterval(() => soon(), 15000);
