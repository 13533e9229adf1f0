// The tablet's own store: what was entered and not yet acknowledged by the server survives reload, sign-out and kill.
// One entry is one strict transaction; "on tablet" is said only when it has completed.

import { t as say } from "./words.js";

const NAME = "qcapp";
const VERSION = 2;
const KEEP_SENT = 14 * 24 * 3600 * 1000;
let opening = null;
let version = VERSION;

function upgrade(db, from) {
  if (from < 1) {
    const outbox = db.createObjectStore("outbox", { keyPath: "seq", autoIncrement: true });
    outbox.createIndex("id", "operation.id", { unique: true });
    db.createObjectStore("refused", { keyPath: "operation.id" });
    db.createObjectStore("drafts");
    db.createObjectStore("meta");
  }
  if (from < 2) {
    db.createObjectStore("sent", { keyPath: "operation.id" }).createIndex("at", "at");
    db.createObjectStore("closed", { keyPath: "operation.id" });
    db.createObjectStore("units", { keyPath: ["badge", "serial"] });
  }
}

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, version);
    request.onupgradeneeded = (event) => upgrade(request.result, event.oldVersion);
    request.onsuccess = () => {
      const db = request.result;
      db.onversionchange = () => { db.close(); opening = null; };
      db.onclose = () => { opening = null; };
      resolve(db);
    };
    request.onerror = () => { opening = null; reject(request.error); };
    request.onblocked = () => { opening = null; reject(new Error(say("Another tab holds an older version of this page. Close it."))); };
  });
  return opening;
}

function finished(transaction) {
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error ?? new Error(say("The tablet's storage broke off.")));
    transaction.onerror = () => {};
  });
}

// Safari closes the handle of a page in the background: open again once, then give up aloud.
async function within(stores, mode, work, durability = "strict") {
  for (let attempt = 0; ; attempt += 1) {
    try {
      const db = await open();
      const transaction = db.transaction(stores, mode, { durability });
      const done = finished(transaction);
      done.catch(() => {});
      const value = await Promise.resolve(transaction).then(work).catch((error) => { abort(transaction); throw error; });
      await done;
      return value;
    } catch (error) {
      if (attempt > 0 || !["InvalidStateError", "UnknownError", "VersionError"].includes(error?.name)) throw error;
      if (error.name === "VersionError") version = undefined; // a newer page has made it newer, and still keeps all of this
      opening = null;
    }
  }
}

// All of it or nothing: what was asked for before the failure must not be written alone.
function abort(transaction) {
  try { transaction.abort(); } catch { /* it has broken off already */ }
}

function answer(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

const read = (name, ask) => within([name], "readonly", (t) => answer(ask(t.objectStore(name))));
const write = (name, ask) => within([name], "readwrite", (t) => answer(ask(t.objectStore(name))));

/**
 * Put an operation into the outbox, in one transaction with the end of its draft, and of the refused entry it stands for.
 * Resolves when the tablet has it on its medium.
 */
export async function keep({ operation, owner, name, draft = null, instead = null, proof: given = null }) {
  const proof = given ?? await proven(operation, operation.recorded_by, "qcapp entry 1");
  return within(["outbox", "drafts", "refused", "closed"], "readwrite", async (t) => {
    if (draft) t.objectStore("drafts").delete(draft);
    if (instead) await close(t, instead, { why: "corrected", by: owner, reason: operation.id });
    return answer(t.objectStore("outbox").add({ operation, owner, name, proof, since: Date.now() }));
  });
}

/** Why something was not kept, in words; a full medium with what to do. */
export const whyNot = (error) => (error?.name === "QuotaExceededError"
  ? say("the tablet's storage is full; what it has kept stays kept: send that, then make room or take another tablet") : error?.message || error?.name || String(error));

let prove = async () => null;
/** `work(said, badge, purpose)` gives what proves that it is this person's, or null. */
export const proveBy = (work) => { prove = work; };
const proven = (...what) => prove(...what).catch(() => null);
/** What proves that this body for this address is the person's, whoever sends it; null where no key is unlocked. */
export const provenFor = (url, body, badge) => proven({ address: decodeURIComponent(url), body }, badge, "qcapp beside 1");

/** Everything not yet acknowledged, oldest first. */
export const waiting = () => read("outbox", (s) => s.getAll());

/** What the server refused: it stays here until a person has dealt with it. */
export const refused = () => read("refused", (s) => s.getAll());

/** Refused entries that somebody has dealt with, and how. */
export const closed = () => read("closed", (s) => s.getAll());

/** What the server has acknowledged since an instant, in the order in which it was entered. */
export async function sentSince(instant) {
  const rows = await read("sent", (s) => s.index("at").getAll(IDBKeyRange.lowerBound(instant)));
  return rows.sort((a, b) => a.seq - b.seq);
}

// A tablet's clock may be set back: an instant taken here is never before one that was given to a sent entry.
async function notBefore(t) {
  const last = await answer(t.objectStore("sent").index("at").openKeyCursor(null, "prev"));
  return Math.max(Date.now(), last ? last.key + 1 : 0);
}

/** An instant after everything that has been sent. */
export const instant = () => within(["sent"], "readonly", notBefore);

/** Take acknowledged entries out of the outbox, and move refused ones aside, in one transaction. */
export function settle(rows, verdicts) {
  const byId = new Map(verdicts.map((verdict) => [verdict.id, verdict]));
  return within(["outbox", "refused", "sent"], "readwrite", async (t) => {
    const at = await notBefore(t);
    for (const row of rows) {
      const verdict = byId.get(row.operation.id);
      if (!verdict) continue;
      if (verdict.outcome === "rejected") t.objectStore("refused").put({ ...row, code: verdict.code, message: verdict.message });
      else t.objectStore("sent").put({ ...row, verdict, at });
      t.objectStore("outbox").delete(row.seq);
    }
    const old = t.objectStore("sent").index("at").openCursor(IDBKeyRange.upperBound(Date.now() - KEEP_SENT));
    old.onsuccess = () => { if (old.result) { old.result.delete(); old.result.continue(); } };
  });
}

/** The server was set back to a backup: what it may have lost goes out once more; what it has answers "duplicate". */
export function resendAll() {
  return within(["outbox", "sent"], "readwrite", async (t) => {
    const rows = await answer(t.objectStore("sent").getAll());
    for (const row of rows.sort((a, b) => a.seq - b.seq)) back(t, row);
    t.objectStore("sent").clear();
  });
}

function back(t, { operation, owner, name, since, proof = null }) {
  t.objectStore("outbox").add({ operation, owner, name, since, proof });
}

/** A refused entry goes out once more. */
export function sendAgain(id) {
  return within(["outbox", "refused"], "readwrite", async (t) => {
    const row = await answer(t.objectStore("refused").get(id));
    if (!row) return;
    back(t, row);
    t.objectStore("refused").delete(id);
  });
}

/** A refused entry is given up by a person, with a reason. It is kept. */
export async function discard(id, by, reason) {
  const row = await read("refused", (s) => s.get(id));
  const proof = row && (await provenFor(DISCARDS, { operation: row.operation, reason }, by));
  return within(["refused", "closed"], "readwrite", (t) => close(t, id, { why: "discarded", by, reason, told_by: proof }));
}
export const DISCARDS = "/api/v1/discards";

/** The server has written down that an entry was discarded. */
export const discardTold = (row) => write("closed", (s) => s.put({ ...row, told: true }));

async function close(t, id, how) {
  const row = await answer(t.objectStore("refused").get(id));
  if (!row) return;
  t.objectStore("closed").put({ ...row, ...how, at: Date.now() });
  t.objectStore("refused").delete(id);
}

/** Committed at once: the page may be left in this moment, and with it what has not been committed. */
export const setDraft = (key, value) => within(["drafts"], "readwrite", (t) => {
  const s = t.objectStore("drafts");
  const asked = answer(value === null ? s.delete(key) : s.put(value, key));
  t.commit();
  return asked;
});

/** The drafts whose key begins so, as a map without that beginning. */
export async function drafts(prefix) {
  const range = IDBKeyRange.bound(prefix, `${prefix}\uffff`);
  return within(["drafts"], "readonly", async (t) => {
    const keys = answer(t.objectStore("drafts").getAllKeys(range));
    const values = await answer(t.objectStore("drafts").getAll(range));
    return new Map((await keys).map((key, i) => [key.slice(prefix.length), values[i]]));
  });
}

export const setMeta = (key, value) => write("meta", (s) => s.put(value, key));
export const getMeta = (key) => read("meta", (s) => s.get(key));

/** Who works on this tablet, or null. A sign-in or sign-out leaves a mark: whoever was here before it is nobody from then on. */
export async function holder(known = false) {
  // On a shared tablet the PIN says who works here, not the session.
  const tablet = known || (await getMeta("tablet"));
  if (!tablet && /(^|; )qcapp_changed=1/.test(document.cookie)) {
    await setMeta("person", null);
    document.cookie = "qcapp_changed=; path=/; max-age=0; samesite=lax";
  }
  return (await getMeta("person")) ?? null;
}

/** A unit taken along. It can be fetched again, so it needs no flush of the medium. */
export const keepUnit = (badge, serial, data, at) =>
  within(["units"], "readwrite", (t) => answer(t.objectStore("units").put({ badge, serial, data, at })), "relaxed");
export const keptUnit = (badge, serial) => read("units", (s) => s.get([badge, serial]));
export const keptUnits = (badge) => read("units", (s) => s.getAll(IDBKeyRange.bound([badge, ""], [badge, "\uffff"])));
export const unitOfAny = async (serial) => (await read("units", (s) => s.getAll())).filter((unit) => unit.serial === serial);
export const forgetUnit = (badge, serial) => write("units", (s) => s.delete([badge, serial]));
