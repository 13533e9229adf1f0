// What goes beside the results: photos, remarks, gauges set aside, welds. It is kept in a store of its own until the server
// has it, and sent after the results. Each has an identifier, so that sending twice is harmless.

import * as outbox from "./outbox.js";

let opening = null;

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open("qcapp-beside", 1);
    request.onupgradeneeded = () => { request.result.createObjectStore("rows", { keyPath: "id" }); request.result.createObjectStore("closed", { keyPath: "id" }); };
    request.onsuccess = () => {
      request.result.onclose = () => { opening = null; };
      request.result.onversionchange = () => { request.result.close(); opening = null; };
      resolve(request.result);
    };
    request.onerror = () => { opening = null; reject(request.error); };
  });
  return opening;
}

async function within(mode, work, again = true) {
  try {
    const db = await open();
    return await new Promise((resolve, reject) => {
      const t = db.transaction(["rows", "closed"], mode, { durability: "strict" });
      const asked = work(t.objectStore("rows"), t.objectStore("closed"));
      t.oncomplete = () => resolve(asked?.result);
      t.onabort = () => reject(t.error ?? new Error("The tablet's storage broke off."));
    });
  } catch (error) {
    if (!again || !["InvalidStateError", "UnknownError"].includes(error?.name)) throw error;
    opening = null;
    return within(mode, work, false);
  }
}

/** Everything that the server does not have yet, oldest first; `refused` holds its sentence where it did not take it. */
export const rows = () => within("readonly", (s) => s.getAll());

/** Keep one thing; resolves when the tablet has it on its medium. `person` owns it: it is sent under no other name. */
export async function keep(person, url, body, { photo = null, label = "", id = outbox.uuid7() } = {}) {
  const row = { id, owner: person.badge, name: person.name, since: Date.now(), url, label, body: { id, ...body }, photo, refused: "" };
  await within("readwrite", (s) => s.add(row));
  outbox.soon();
  return row;
}

export const again = (row) => within("readwrite", (s) => s.put({ ...row, refused: "" })).then(() => outbox.soon(0));

/** Given up by a person with a reason; it stays on the tablet, and the server writes down who gave it up and why. */
export const discard = (row, by, reason) => within("readwrite", (s, closed) => { closed.put({ ...row, by, reason, at: Date.now() }); s.delete(row.id); }).then(() => outbox.soon(0));

async function tellDiscards() {
  for (const row of await within("readonly", (s, closed) => closed.getAll())) {
    if (row.told || row.by !== outbox.contact.person?.badge) continue;
    const { ok, status } = await outbox.post("/api/v1/discards", { operation: row.body, reason: row.reason });
    if (ok || status === 400) await within("readwrite", (s, closed) => closed.put({ ...row, told: true }));
  }
}

async function base64(buffer) {
  const address = await new Promise((resolve) => {
    const reader = new FileReader();
    reader.onload = () => resolve(reader.result);
    reader.readAsDataURL(new Blob([buffer]));
  });
  return address.slice(address.indexOf(",") + 1);
}

/** Send what is mine, one after the other. Gives how many the server took or refused. */
export async function send(which = () => true) {
  const mine = (await rows()).filter((row) => row.owner === outbox.contact.person?.badge && !row.refused && which(row));
  if (!mine.length) return 0;
  const token = (await outbox.session()).csrf_token;
  let settled = 0;
  for (const row of mine) {
    const content = row.photo ? { content: await base64(row.photo) } : {};
    const { ok, status, body } = await outbox.post(row.url, { ...row.body, ...content }, token);
    if (ok) await within("readwrite", (s) => s.delete(row.id));
    else if ([400, 404, 409, 413, 415, 422].includes(status) || (status === 403 && body.code !== "csrf")) await within("readwrite", (s) => s.put({ ...row, refused: body.message }));
    else break;
    settled += 1;
  }
  return settled;
}

let sentBefore = 0;
outbox.sendBefore(async (serial) => { sentBefore += await send((row) => row.url.endsWith("/setup-checks") || (serial && row.body.serial === serial)).catch(() => 0); });

/** Send after the results, whenever the server has taken those. `changed()` is called afterwards. */
export function follow(changed) {
  const run = async (lock) => {
    if (!lock) return;
    while ((await send().catch(() => 0)) + sentBefore) {
      sentBefore = 0;
      await changed();
    }
    await tellDiscards().catch(() => {});
  };
  // Not waited for: results that are entered meanwhile must not wait for a photo.
  outbox.onChange(() => {
    if (!["sent", "others"].includes(outbox.contact.state)) return;
    if (navigator.locks) navigator.locks.request("qcapp-beside", { ifAvailable: true }, run);
    else run(true);
  });
}
