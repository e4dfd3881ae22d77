// Keeps facts and what was known of a machine in this browser's database, through reloads,
// crashes and flat batteries.
//
// A fact: { id, key, touch, path, body, machine, station, tool, what, at, tried, state, problem }.
// `id` grows in the order in which people pressed; what one touch recorded shares `touch`. `tried`
// is false until just before it is first sent: only until then may it be taken out again. `state`
// is "waiting", "refused" (until a person settles it) or "sent" (kept until the machine's state was
// read again, and as long as the touch may be undone). One that undoes another names it: `undoes`.

const NAME = "crib";
/** How long a touch may be undone [ms]; the service's own pages say the same. */
export const UNDO_MS = 600_000;
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

/** Look at all facts and change them, in one transaction: no other window acts in between.
 *  `work(facts, store)` does not wait for anything; what it returns is returned. */
export async function decide(work) {
  const db = await open();
  const tx = db.transaction("facts", "readwrite", { durability: "strict" });
  const store = tx.objectStore("facts");
  const worked = request(store.getAll()).then((facts) => work(facts, store));
  const [result] = await Promise.all([worked, whole(tx)]);
  return result;
}

/** Keep facts, all or none, in their order. */
export const addFacts = (facts) => change("facts", (store) => facts.forEach((fact) => store.add(fact)));
export const putFact = (fact) => change("facts", (store) => store.put(fact));
export const dropFact = (id) => change("facts", (store) => store.delete(id));
export const allFacts = () => read("facts", (store) => store.getAll());
export const oneFact = (id) => read("facts", (store) => store.get(id));
export const knownOf = (machine) => read("known", (store) => store.get(machine));

/** Whether what is known of a machine was told after a fact was recorded. */
export const isIn = (known, fact) => fact.state === "sent" && fact.recorded <= known.recorded;

/** Keep what is known of a machine; what is in it by now is forgotten, once it cannot be undone. */
export async function keepKnown(known) {
  await change("known", (store) => store.put(known));
  for (const fact of await allFacts()) {
    const isYoung = Math.abs(Date.now() - fact.sentAt) < UNDO_MS;
    if (fact.machine === known.machine && isIn(known, fact) && !isYoung) await dropFact(fact.id);
  }
}
