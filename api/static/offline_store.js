// Keeps facts and what was known of a machine in this browser's database, through reloads,
// crashes and flat batteries.
//
// A fact: { id, key, path, body, machine, station, tool, what, at, state, problem }. `id` grows in
// the order in which people pressed. `state` is "waiting", "refused" (until a person settles it)
// or "sent" (kept until the machine's state was read again, so that it is not forgotten between).

const NAME = "crib";
let opened = null;

function request(asked) {
  return new Promise((resolve, reject) => {
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}

function whole(tx) {
  return new Promise((resolve, reject) => {
    tx.oncomplete = () => resolve();
    tx.onabort = tx.onerror = () => reject(tx.error);
  });
}

/** The database; refuses where the browser has none (private windows of some). */
export function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("facts", { keyPath: "id", autoIncrement: true });
      asked.result.createObjectStore("known", { keyPath: "machine" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

async function change(store, work) {
  const db = await open();
  // strict: on the disk, not only with the system, before we say that it is kept
  const tx = db.transaction(store, "readwrite", { durability: "strict" });
  work(tx.objectStore(store));
  await whole(tx);
}

async function read(store, work) {
  const db = await open();
  return request(work(db.transaction(store, "readonly").objectStore(store)));
}

/** Keep facts, all or none, in their order. */
export const addFacts = (facts) => change("facts", (store) => facts.forEach((fact) => store.add(fact)));
export const putFact = (fact) => change("facts", (store) => store.put(fact));
export const dropFact = (id) => change("facts", (store) => store.delete(id));
export const allFacts = () => read("facts", (store) => store.getAll());
export const oneFact = (id) => read("facts", (store) => store.get(id));
export const knownOf = (machine) => read("known", (store) => store.get(machine));

/** Keep what is known of a machine; what was sent before it was told is in it by now. */
export async function keepKnown(known) {
  await change("known", (store) => store.put(known));
  for (const fact of await allFacts()) {
    const inside = fact.state === "sent" && fact.machine === known.machine && fact.recorded <= known.recorded;
    if (inside) await dropFact(fact.id);
  }
}
