// What a device keeps of the pages at the kit: caches of pages and sounds, each named after its reader, and a small
// database of takes and levels. Nobody but that reader sees any of it.

const PREFIX = "kitpost-kit-";
const DATABASE = "kitpost-kit";
export const STATIC_CACHE = `${PREFIX}static`;

export function canKeep() {
  return "caches" in window;
}

export function cacheName(reader, what) {
  return `${PREFIX}u${reader}-${what}`;
}

/** Pages and sounds that were kept for anybody but `reader` are gone after this. */
export async function dropCachesOfOthers(reader) {
  if (!canKeep()) return;
  const others = (await caches.keys()).filter(
    (name) => name.startsWith(`${PREFIX}u`) && !name.startsWith(`${PREFIX}u${reader}-`),
  );
  await Promise.all(others.map((name) => caches.delete(name)));
}

/** The database, or null where the browser keeps none. Stores: `takes` by their id, `notes` by name. */
let opened = null;
function database() {
  opened ??= new Promise((done) => {
    let asked;
    try {
      asked = indexedDB.open(DATABASE, 1);
    } catch {
      return done(null);
    }
    asked.onupgradeneeded = () => ["takes", "notes"].forEach((store) => asked.result.createObjectStore(store));
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => done(null);
  });
  return opened;
}

/** One step in a store: `read("takes", (store) => store.getAll())`. Null where the browser keeps nothing. */
export async function inStore(store, mode, step) {
  const found = await database();
  if (!found) return null;
  return new Promise((done, fail) => {
    const transaction = found.transaction(store, mode, { durability: "strict" });
    const asked = step(transaction.objectStore(store));
    transaction.oncomplete = () => done(asked.result ?? null);
    transaction.onerror = transaction.onabort = () => fail(transaction.error);
  });
}

export async function keepsRows() {
  return (await database()) !== null;
}

export function note(name) {
  return inStore("notes", "readonly", (store) => store.get(name));
}

export function keepNote(name, value) {
  return inStore("notes", "readwrite", (store) => store.put(value, name));
}

/** Nothing of `reader` is left on the device. Takes that are not sent are the caller's to ask about. */
export async function dropAllOf(reader) {
  await dropCachesOfOthers(null);
  for (const store of ["takes", "notes"]) {
    const keys = (await inStore(store, "readonly", (one) => one.getAllKeys())) ?? [];
    const rows = (await inStore(store, "readonly", (one) => one.getAll())) ?? [];
    for (const [at, key] of keys.entries())
      if (rows[at].reader === reader) await inStore(store, "readwrite", (one) => one.delete(key));
  }
}
