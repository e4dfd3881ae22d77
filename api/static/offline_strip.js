// The strip that says whether the service answers, what waits to be sent and what it refused.

import { giveUp, sendAgain } from "./offline_queue.js";
import { allFacts } from "./offline_store.js";
import { mayUndo, undoes } from "./offline_undo.js";
import { clock, copy, place, said, told, wordsOf } from "./offline_words.js";

const strip = place.querySelector("[data-strip]");
const list = place.querySelector("[data-facts]");

/** An instant as the field for local times wants it, in this phone's zone, and back. */
function localText(at) {
  const there = new Date(Date.parse(at) - new Date(at).getTimezoneOffset() * 60000);
  return there.toISOString().slice(0, 19);
}

function line(fact, canUndo) {
  const made = copy("fact", { what: wordsOf(fact), when: told(fact.at), state: said(fact.state) });
  made.dataset.key = fact.id;
  made.querySelector("[data-text=state]").classList.add(fact.state === "refused" ? "bad" : "care-state");
  const undo = made.querySelector("[data-undo]");
  if (canUndo) undoes(undo, fact);
  else undo.remove();
  const settle = made.querySelector("[data-settle]");
  if (fact.state !== "refused") {
    settle.remove();
    return made;
  }
  made.querySelector("[data-text=sentence]").textContent = fact.problem?.said ?? fact.problem?.detail ?? "";
  const time = settle.querySelector("[data-time]");
  time.value = localText(fact.at);
  const unchanged = time.value;
  settle.querySelector("[data-again]").addEventListener("click", () => {
    const changed = time.value && time.value !== unchanged;
    sendAgain(fact.id, changed ? new Date(time.value).toISOString() : null);
  });
  const drop = settle.querySelector("[data-drop]");
  const sure = settle.querySelector("[data-sure]");
  drop.addEventListener("click", () => {
    sure.hidden = false;
    drop.hidden = true;
    sure.focus();
  });
  sure.addEventListener("click", () => giveUp(fact.id));
  return made;
}

let shown = "";

/** How long the strip says when the last of what was kept went out. */
const SENT_TOLD_MS = 600000;
/** What goes out sooner than that was never seen waiting. */
const LATE_MS = 3000;

/** Show the queue and the state of the network. */
export async function showStrip(connected) {
  const all = await allFacts();
  const facts = all.filter((fact) => fact.state !== "sent");
  const waited = all.filter((fact) => fact.sentAt - fact.keptAt > LATE_MS);
  const last = waited.sort((one, other) => one.sentAt - other.sentAt).at(-1);
  const waiting = facts.filter((fact) => fact.state === "waiting").length;
  const refused = facts.length - waiting;
  const parts = [connected ? said("connected") : said("notConnected", { time: told(place.dataset.shownAt) })];
  const tellsSent = connected && !facts.length && last && Date.now() - last.sentAt < SENT_TOLD_MS;
  if (tellsSent) parts.push(said("sent", { time: clock(last.sentSite) }));
  if (waiting) parts.push(said("waitingCount", { number: waiting }));
  if (refused) parts.push(said("refusedCount", { number: refused }));
  const undoable = facts.map((fact) => mayUndo(fact, facts));
  const now = JSON.stringify([parts, facts, undoable]);
  if (now === shown) return; // what a person is about to touch stays where it is
  shown = now;
  strip.textContent = parts.join(" · ");
  place.dataset.state = refused ? "refused" : connected ? "connected" : "cut";
  place.dataset.waiting = waiting;
  strip.classList.toggle("off-screen", connected && !facts.length && !tellsSent); // nothing new to say
  list.replaceChildren(...facts.map((fact, nth) => line(fact, undoable[nth])));
  list.hidden = !facts.length;
}
