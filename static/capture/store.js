// The tablet's own store: what was entered and not yet acknowledged by the server survives reload, sign-out and kill.
// One entry is one strict transaction; "on tablet" is said only when it has completed.

const NAME = "qcapp";
const VERSION = 1;
let opening = null;

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      const db = request.result;
      const outbox = db.createObjectStore("outbox", { keyPath: "seq", autoIncrement: true });
      outbox.createIndex("id", "operation.id", { unique: true });
      db.createObjectStore("refused", { keyPath: "operation.id" });
      db.createObjectStore("drafts");
      db.createObjectStore("meta");
    };
    request.onsuccess = () => {
      const db = request.result;
      db.onversionchange = () => { db.close(); opening = null; };
      db.onclose = () => { opening = null; };
      resolve(db);
    };
    request.onerror = () => { opening = null; reject(request.error); };
    request.onblocked = () => reject(new Error("Another tab holds an older version of this page. Close it."));
  });
  return opening;
}

function finished(transaction) {
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error ?? new Error("The tablet did not save the entry."));
    transaction.onerror = () => {};
  });
}

// Safari closes the handle of a page in the background: open again once, then give up aloud.
async function within(stores, mode, work) {
  for (let attempt = 0; ; attempt += 1) {
    try {
      const db = await open();
      const transaction = db.transaction(stores, mode, { durability: "strict" });
      const done = finished(transaction);
      const value = await work(transaction);
      await done;
      return value;
    } catch (error) {
      if (attempt > 0 || !["InvalidStateError", "UnknownError"].includes(error?.name)) throw error;
      opening = null;
    }
  }
}

function answer(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** Put an operation into the outbox. Resolves when the tablet has it on its medium. */
export function keep(operation, owner) {
  return within(["outbox"], "readwrite", (t) => answer(t.objectStore("outbox").add({ operation, owner, since: Date.now() })));
}

/** Everything not yet acknowledged, oldest first. */
export function waiting() {
  return within(["outbox"], "readonly", (t) => answer(t.objectStore("outbox").getAll()));
}

/** What the server refused: it stays here until a person has dealt with it. */
export function refused() {
  return within(["refused"], "readonly", (t) => answer(t.objectStore("refused").getAll()));
}

/** Take acknowledged entries out, and move refused ones aside, in one transaction. */
export function settle(rows, verdicts) {
  const byId = new Map(verdicts.map((verdict) => [verdict.id, verdict]));
  return within(["outbox", "refused"], "readwrite", async (t) => {
    for (const row of rows) {
      const verdict = byId.get(row.operation.id);
      if (!verdict) continue;
      if (verdict.outcome === "rejected") {
        t.objectStore("refused").put({ operation: row.operation, owner: row.owner, code: verdict.code, message: verdict.message });
      }
      t.objectStore("outbox").delete(row.seq);
    }
  });
}

export function forgetRefused(id) {
  return within(["refused"], "readwrite", (t) => answer(t.objectStore("refused").delete(id)));
}

export function setDraft(key, value) {
  return within(["drafts"], "readwrite", (t) =>
    answer(value === null ? t.objectStore("drafts").delete(key) : t.objectStore("drafts").put(value, key)));
}

export function getDraft(key) {
  return within(["drafts"], "readonly", (t) => answer(t.objectStore("drafts").get(key)));
}

export function setMeta(key, value) {
  return within(["meta"], "readwrite", (t) => answer(t.objectStore("meta").put(value, key)));
}

export function getMeta(key) {
  return within(["meta"], "readonly", (t) => answer(t.objectStore("meta").get(key)));
}
