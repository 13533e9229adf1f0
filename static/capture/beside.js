// What goes beside the results: photos, remarks, gauges set aside, welds. It is kept in a store of its own until the server
// has it, and sent after the results. Each has an identifier, so that sending twice is harmless. On a shared tablet each
// carries its owner's proof, so that whoever is there sends it; elsewhere it waits for its owner.

import * as outbox from "./outbox.js";
import * as store from "./store.js";

const KEEP_SENT = 14 * 24 * 3600 * 1000; // as the results: a restored server may have lost it
const AT_ONCE = 3;
const KEEP_PHOTOS = 100; // of what was sent; some 40 MB
let opening = null;

function upgrade(db, from) {
  if (from < 1) { db.createObjectStore("rows", { keyPath: "id" }); db.createObjectStore("closed", { keyPath: "id" }); }
  const sent = db.createObjectStore("sent", { keyPath: "id" });
  for (const name of ["at", "photoAt"]) sent.createIndex(name, name);
}

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open("qcapp-beside", 2);
    request.onupgradeneeded = (event) => upgrade(request.result, event.oldVersion);
    request.onsuccess = () => {
      request.result.onclose = () => { opening = null; };
      request.result.onversionchange = () => { request.result.close(); opening = null; };
      resolve(request.result);
    };
    request.onerror = () => { opening = null; reject(request.error); };
  });
  return opening;
}

async function within(mode, work, durability = "strict", again = true) {
  try {
    const db = await open();
    return await new Promise((resolve, reject) => {
      const names = ["rows", "closed", "sent"];
      const t = db.transaction(names, mode, { durability });
      const asked = work(...names.map((name) => t.objectStore(name)));
      t.oncomplete = () => resolve(asked?.result);
      t.onabort = () => reject(t.error ?? new Error("The tablet's storage broke off."));
    });
  } catch (error) {
    if (!again || !["InvalidStateError", "UnknownError"].includes(error?.name)) throw error;
    opening = null;
    return within(mode, work, durability, false);
  }
}

/** Everything that the server does not have yet, oldest first; `refused` holds its sentence where it did not take it. */
export const rows = () => within("readonly", (s) => s.getAll());
outbox.countBy(async () => (await rows()).filter((row) => !row.refused));

const hex = (buffer) => [...new Uint8Array(buffer)].map((byte) => byte.toString(16).padStart(2, "0")).join("");

/** Keep one thing; resolves when the tablet has it on its medium. `person` owns it: it is sent under no other name. */
export async function keep(person, url, body, { photo = null, label = "", id = outbox.uuid7() } = {}) {
  const whole = { id, ...body };
  if (photo && crypto.subtle) whole.sha256 = hex(await crypto.subtle.digest("SHA-256", photo));
  const row = { id, owner: person.badge, name: person.name, since: Date.now(), url, label, body: whole, photo, refused: "" };
  row.proof = await store.provenFor(url, whole, person.badge);
  await within("readwrite", (s) => s.add(row));
  outbox.soon();
  return row;
}

export const again = (row) => within("readwrite", (s) => s.put({ ...row, refused: "" })).then(() => outbox.soon(0));

/** Given up by a person with a reason; it stays on the tablet, and the server writes down who gave it up and why. */
export async function discard(row, by, reason) {
  const told_by = await store.provenFor(store.DISCARDS, { operation: row.body, reason }, by);
  await within("readwrite", (s, closed) => { closed.put({ ...row, by, reason, told_by, at: Date.now() }); s.delete(row.id); });
  outbox.soon(0);
}

async function tellDiscards() {
  for (const row of await within("readonly", (s, closed) => closed.getAll())) {
    const head = !row.told && outbox.headFor(row.by, row.told_by);
    if (!head) continue;
    const { ok, status } = await outbox.post(store.DISCARDS, { operation: row.body, reason: row.reason }, null, head);
    if (ok || status === 400) await within("readwrite", (s, closed) => closed.put({ ...row, told: true }));
  }
}

/** A photo's bytes as JSON carries them. */
export async function base64(buffer) {
  const address = await new Promise((resolve) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result);
    reader.readAsDataURL(new Blob([buffer]));
  });
  return address.slice(address.indexOf(",") + 1);
}

/** Send what may go out, one after the other. Gives how many the server took or refused. */
export async function send(which = () => true) {
  const { revoked } = outbox.contact;
  const ready = (await rows()).filter((row) => (revoked || outbox.headFor(row.owner, row.proof)) && !row.refused && which(row));
  if (!ready.length) return 0;
  const token = (await outbox.session()).csrf_token;
  let settled = 0;
  while (ready.length) {
    // The server is busy with a photo for longer than the line is: a few at once. All else keeps its order.
    const other = ready.findIndex((row) => !row.photo);
    const together = ready.splice(0, Math.max(1, Math.min(AT_ONCE, other < 0 ? AT_ONCE : other)));
    const done = await Promise.all(together.map((row) => sendOne(row, token)));
    settled += done.filter(Boolean).length;
    if (!done.every(Boolean)) break;
  }
  return settled;
}

/** Whether the server has said something about it that stands. */
async function sendOne(row, token) {
  const { revoked } = outbox.contact;
  const head = revoked ? {} : outbox.headFor(row.owner, row.proof);
  if (!head) return false; // somebody else has signed in meanwhile
  const content = row.photo ? { content: await base64(row.photo) } : {};
  const { ok, status, body } = await (revoked ? handIn(row, content, token) : outbox.post(row.url, { ...row.body, ...content }, token, head));
  if (ok) await taken(row);
  else if (body.code === "entry_proof_refused") await within("readwrite", (s) => s.put({ ...row, proof: null })); // then the owner sends it
  else if ([400, 404, 409, 413, 415, 422].includes(status) || (status === 403 && body.code !== "csrf")) await within("readwrite", (s) => s.put({ ...row, refused: body.message }));
  else return false;
  return true;
}

// A revoked tablet's are kept aside for a person to judge, as its results are.
async function handIn(row, content, token) {
  const { serial = row.label, checkpoint = "", recorded_at = new Date(row.since).toISOString() } = row.body;
  const whole = { id: row.id, kind: "beside", serial, checkpoint, raw: row.label, recorded_at, recorded_by: row.owner, address: decodeURIComponent(row.url), body: row.body, proof: row.proof, ...content };
  return outbox.post("/api/v1/operations", { device: (await store.getMeta("device")) ?? "tablet", sent_at: new Date().toISOString(), operations: [whole] }, token);
}

async function taken(row) {
  const at = Date.now();
  const move = (s, closed, sent) => {
    s.delete(row.id);
    sent.put({ ...row, at, ...(row.photo ? { photoAt: at } : {}) });
    const forget = (index, range, which) => { const asked = sent.index(index).getAllKeys(range); asked.onsuccess = () => which(asked.result).forEach((id) => sent.delete(id)); };
    forget("at", IDBKeyRange.upperBound(at - KEEP_SENT), (ids) => ids);
    forget("photoAt", null, (ids) => ids.slice(0, -KEEP_PHOTOS));
  };
  // A power cut may undo it: then it goes out once more. Where there is no room for what is sent anyway it is not kept.
  await within("readwrite", move, "relaxed").catch(() => within("readwrite", (s) => s.delete(row.id), "relaxed"));
}

outbox.onRestore(() => within("readwrite", (s, closed, sent) => {
  const asked = sent.getAll();
  asked.onsuccess = () => { for (const { at, photoAt, ...row } of asked.result) s.put(row); sent.clear(); };
}));

let sentBefore = 0;
outbox.sendBefore(async (serial) => { sentBefore += await send((row) => row.url.endsWith("/setup-checks") || (serial && row.body.serial === serial)).catch(() => 0); });

/** Send after the results, whenever the server has taken those. `changed()` is called afterwards. */
export function follow(changed) {
  let missed = false; // asked for while it was at work: what came meanwhile must not wait for the next time
  const run = async (lock) => {
    missed = !lock;
    if (missed) return;
    do {
      missed = false;
      while ((await send().catch(() => 0)) + sentBefore) {
        sentBefore = 0;
        await changed();
      }
      await tellDiscards().catch(() => {});
    } while (missed);
  };
  // Not waited for: results that are entered meanwhile must not wait for a photo.
  outbox.onChange(() => {
    if (!["sent", "others", "revoked"].includes(outbox.contact.state)) return;
    if (navigator.locks) navigator.locks.request("qcapp-beside", { ifAvailable: true }, run);
    else run(true);
  });
}
