// The page to sign in is shown: whoever worked in this browser before is nobody on the floor's pages from now on.
// The mark of the server says the same, but a browser killed within half a minute forgets it.

const request = indexedDB.open("qcapp");
// No floor page was ever opened here: leave nothing behind.
request.onupgradeneeded = () => request.transaction.abort();
request.onsuccess = () => {
  const db = request.result;
  if (!db.objectStoreNames.contains("meta")) return;
  const t = db.transaction("meta", "readwrite", { durability: "strict" });
  t.objectStore("meta").put(null, "person");
  t.oncomplete = () => db.close();
};
