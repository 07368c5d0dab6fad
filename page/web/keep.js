// The work kept in this browser between visits, and forgotten on demand.
const NAME = "faydeck", STORE = "work";
const done = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});
async function store(mode) {
  const open = indexedDB.open(NAME, 1);
  open.onupgradeneeded = () => open.result.createObjectStore(STORE);
  const db = await done(open);
  return { db, store: db.transaction(STORE, mode).objectStore(STORE) };
}
async function with_(mode, act) {
  const { db, store: s } = await store(mode);
  try { return await done(act(s)); } finally { db.close(); }
}
/** Keeps { table, files: [{ name, blob }] }. A browser that keeps nothing (a private window) is no fault. */
export const kept = (work) => with_("readwrite", (s) => s.put(work, "last")).then(() => true, () => false);
/** The last work, or undefined. */
export const recalled = () => with_("readonly", (s) => s.get("last")).catch(() => undefined);
export const forgotten = () => with_("readwrite", (s) => s.delete("last")).catch(() => undefined);
