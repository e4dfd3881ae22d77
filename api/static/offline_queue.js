// Sends kept facts to the service, each once, in the order in which they happened.
//
// Each has an Idempotency-Key of its own: sent again after a lost answer it is answered the same
// and recorded once. A refusal parks the fact until a person settles it; what concerns the same
// station or tool waits behind it, everything else goes on.

import { look, siteNow } from "./offline_clock.js";
import { addFacts, allFacts, decide, dropFact, oneFact, putFact } from "./offline_store.js";

const SEND_MS = 15000;
const LONGEST_PAUSE_MS = 30000;
const AGAIN = new Set([408, 425, 429]); // asks to come again, says nothing of the fact
const told = new Map(); // key -> outcome, for the page that waits for it
let pumping = null;
let pause = 1000;
let timer = 0;
let notBefore = 0;

/** A key that nobody else has; crypto.randomUUID is not there on plain http. */
export function freshKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(18));
  return btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_");
}

/** Tell the page that the queue is another. */
export function changed() {
  document.dispatchEvent(new CustomEvent("crib:queue"));
}

/** Keep facts; they are on the disk when this returns. */
export async function keep(facts) {
  const touch = freshKey();
  const kept = facts.map((fact) => ({ ...fact, key: freshKey(), touch, keptAt: Date.now(), tried: false, state: "waiting" }));
  await addFacts(kept);
  changed();
  return kept.map((fact) => fact.key);
}

async function post(fact) {
  const headers = { "Content-Type": "application/json", "Idempotency-Key": fact.key };
  const body = JSON.stringify(fact.body);
  try {
    const answer = await fetch(fact.path, { method: "POST", headers, body, signal: AbortSignal.timeout(SEND_MS) });
    const kind = answer.headers.get("Content-Type") ?? "";
    // anything else comes from a gateway or another network's door, not from the service
    if (!/^application\/(problem\+)?json/.test(kind)) return null;
    if (answer.status >= 500 || AGAIN.has(answer.status)) return null;
    return { ok: answer.ok, status: answer.status, answer: await answer.json() };
  } catch {
    return null;
  }
}

/** Whether two facts concern the same station or tool. */
export const touches = (one, other) => one.station === other.station || (one.tool && one.tool === other.tool);

/** The fact, marked as tried: from here on it may have reached the service, so that nobody takes
 *  it out of the queue any more. Null where somebody did, or where it is settled. */
function marked(id) {
  return decide((facts, store) => {
    const fact = facts.find((one) => one.id === id);
    if (fact?.state !== "waiting") return null;
    if (fact.tried === false) store.put({ ...fact, tried: true });
    return fact;
  });
}

/** Keep what a fact came to; it is returned where it was refused. What undoes it learns its number,
 *  or goes with it: a refusal recorded nothing. */
function settle(id, { ok, status, answer }) {
  return decide((facts, store) => {
    const fact = facts.find((one) => one.id === id);
    if (!fact) return null;
    const undoing = facts.filter((one) => one.undoes === fact.key);
    if (ok) {
      store.put({ ...fact, tried: true, state: "sent", recorded: answer.fact, sentAt: Date.now(), sentSite: siteNow() });
      for (const one of undoing) store.put({ ...one, body: { ...one.body, fact: answer.fact } });
      return null;
    }
    if (undoing.length) {
      for (const one of [fact, ...undoing]) store.delete(one.id);
      return null;
    }
    const refused = { ...fact, state: "refused", problem: answer, status };
    store.put(refused);
    return refused;
  });
}

async function sendAll() {
  const parked = [];
  let isThere = null;
  for (const listed of await allFacts()) {
    const seen = await oneFact(listed.id); // another window may have sent or settled it
    if (!seen || seen.state === "sent") continue;
    if (seen.state === "refused" || parked.some((one) => touches(one, seen))) {
      parked.push(seen);
      continue;
    }
    // in a dead spot nothing is tried, so that it can still be taken out
    if (seen.tried === false && !(isThere ??= await look())) return false;
    const fact = await marked(seen.id);
    if (!fact) continue;
    const outcome = await post(fact);
    if (!outcome) return false;
    told.set(fact.key, outcome);
    const refused = await settle(fact.id, outcome);
    if (refused) parked.push(refused);
    changed();
  }
  return true;
}

/** Send what waits, now; true where nothing is left that could go. */
export function pump() {
  clearTimeout(timer);
  pumping ??= (navigator.locks ? navigator.locks.request("crib-queue", sendAll) : sendAll())
    .then((through) => {
      pause = through ? 1000 : Math.min(pause * 2, LONGEST_PAUSE_MS);
      notBefore = through ? 0 : Date.now() + pause;
      if (!through) timer = setTimeout(pump, pause);
      return through;
    })
    .finally(() => {
      pumping = null;
    });
  return pumping;
}

/** The same, but not sooner after a failure than the pause that grows with each. */
export function pumpWhenDue() {
  return Date.now() < notBefore ? null : pump();
}

/** What became of facts, by key; null for those that still wait. */
export async function outcomes(keys) {
  await pump();
  if (keys.some((key) => !told.has(key))) await pump(); // kept while an earlier turn was ending
  return keys.map((key) => told.get(key) ?? null);
}

/** Try a refused fact again, at another time if one is given. */
export async function sendAgain(id, at) {
  const fact = await oneFact(id);
  if (!fact) return;
  const body = at ? { ...fact.body, at } : fact.body;
  // a refusal recorded nothing: another request may carry another key
  await putFact({ ...fact, body, at: body.at, key: freshKey(), tried: false, state: "waiting", problem: null });
  changed();
  await pump();
}

/** Forget a fact that a person gave up. */
export async function giveUp(id) {
  await dropFact(id);
  changed();
  await pump();
}
