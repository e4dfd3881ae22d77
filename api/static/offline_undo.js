// Undoes a touch that still waits in this browser, by one more touch.
//
// What was never tried is taken out of the queue. What was tried may have reached the service: it
// stays, and its reversal is sent behind it. Which of the two is decided in one transaction with
// the mark that is set before the first try, so that no window sends what another takes out.

import { siteNow } from "./offline_clock.js";
import { changed, freshKey, pump, touches } from "./offline_queue.js";
import { UNDO_MS, allFacts, decide } from "./offline_store.js";
import { copy, place, said, wordsOf } from "./offline_words.js";

const box = place.querySelector("[data-undone]");
const touchOf = (fact) => fact.touch ?? fact.key;
const isUndone = (fact, facts) => facts.some((one) => one.undoes === fact.key && one.state !== "refused");

/** Whether to offer it: within minutes, to the person who pressed it. */
export function mayUndo(fact, facts) {
  const isYoung = Math.abs(siteNow() - Date.parse(fact.at)) < UNDO_MS;
  const isTheirs = !fact.body.by || fact.body.by === place.dataset.by;
  return fact.state === "waiting" && !fact.undoes && isYoung && isTheirs && !isUndone(fact, facts);
}

function reversal(fact) {
  const { machine, station, mark, tool, reason, step, what } = fact;
  const at = new Date(Math.max(siteNow(), Date.parse(fact.at))).toISOString();
  const { by } = fact.body;
  const body = { at, ...(by && { by }), ...(fact.recorded && { fact: fact.recorded }) };
  const about = { machine, station, mark, tool, reason, step, what, at };
  return { ...about, undoes: fact.key, path: "/v1/reversals", body, key: freshKey(), tried: false, state: "waiting" };
}

/** Take the facts of a touch back; how it went, and the fact that it is about. */
function takeBack(touch) {
  return decide((facts, store) => {
    const mine = facts.filter((one) => touchOf(one) === touch && !isUndone(one, facts));
    if (!mine.length) return { how: "undoneGone", one: null };
    const later = facts.find(
      (one) =>
        one.state === "waiting" &&
        !(one.undoes || isUndone(one, facts)) &&
        mine.some((own) => own.what !== "correction" && own.id < one.id && touches(own, one)),
    );
    if (later) return { how: "undoLater", one: later };
    const sent = mine.filter((one) => one.state === "sent" || (one.state === "waiting" && one.tried !== false));
    for (const one of mine) if (!sent.includes(one)) store.delete(one.id);
    for (const one of [...sent].reverse()) store.add(reversal(one));
    return { how: sent.length ? "undoneBehind" : "undoneHere", one: mine[0] };
  });
}

async function undo(touch) {
  const { how, one } = await takeBack(touch);
  const care = how.startsWith("undone") && one ? (place.dataset[`care${one.what[0].toUpperCase()}${one.what.slice(1)}`] ?? "") : "";
  const made = copy("undone", { told: said(how, { what: one ? wordsOf(one) : "" }), care });
  made.className = how === "undoLater" ? "wrong" : "done";
  box.replaceChildren(made);
  if (how !== "undoLater") document.dispatchEvent(new CustomEvent("crib:undone", { detail: touch }));
  changed();
  scrollTo(0, 0);
  pump();
}

/** Have a button undo a touch. */
export function undoes(button, fact) {
  button.addEventListener("click", () => undo(touchOf(fact)));
}

/** What still waits of facts, by key; none where it was undone meanwhile. */
export async function leftOf(keys) {
  const facts = await allFacts();
  return facts.filter((one) => keys.includes(one.key) && !isUndone(one, facts));
}
