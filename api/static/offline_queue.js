// Sends kept facts to the service, each once, in the order in which they happened.
//
// Each has an Idempotency-Key of its own: sent again after a lost answer it is answered the same
// and recorded once. A refusal parks the fact until a person settles it; what concerns the same
// station or tool waits behind it, everything else goes on.

import { addFacts, allFacts, dropFact, oneFact, putFact } from "./offline_store.js";
import { place } from "./offline_words.js";

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

function changed() {
  document.dispatchEvent(new CustomEvent("crib:queue"));
}

/** Keep facts; they are on the disk when this returns. */
export async function keep(facts) {
  const kept = facts.map((fact) => ({ ...fact, key: freshKey(), state: "waiting" }));
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

/** A sentence of the service in the reader's language; as it is where that cannot be had. */
async function inWords(sentence) {
  if (!sentence || place.dataset.locale.startsWith("en")) return sentence;
  try {
    const answer = await fetch(`/machines/said.json?${new URLSearchParams({ sentence })}`);
    return answer.ok ? (await answer.json()).said : sentence;
  } catch {
    return sentence;
  }
}

const touches = (one, other) => one.station === other.station || (one.tool && one.tool === other.tool);

async function sendAll() {
  const parked = [];
  for (const listed of await allFacts()) {
    const fact = await oneFact(listed.id); // another window may have sent or settled it
    if (!fact || fact.state === "sent") continue;
    if (fact.state === "refused" || parked.some((one) => touches(one, fact))) {
      parked.push(fact);
      continue;
    }
    const outcome = await post(fact);
    if (!outcome) return false;
    if (!outcome.ok) outcome.said = await inWords(outcome.answer.detail);
    told.set(fact.key, outcome);
    if (outcome.ok) {
      await putFact({ ...fact, state: "sent", recorded: outcome.answer.fact });
    } else {
      const problem = { ...outcome.answer, said: outcome.said };
      const refused = { ...fact, state: "refused", problem, status: outcome.status };
      await putFact(refused);
      parked.push(refused);
    }
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
  await putFact({ ...fact, body, at: body.at, key: freshKey(), state: "waiting", problem: null });
  changed();
  await pump();
}

/** Forget a fact that a person gave up. */
export async function giveUp(id) {
  await dropFact(id);
  changed();
  await pump();
}
