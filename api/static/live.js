// Keeps the parts marked data-live as they are now: asks cheaply whether anything was recorded,
// then reads the page again and exchanges those parts. What a person types is never touched, and
// what a person points at neither moves nor leads elsewhere while they are about to press it.

const ASK_MS = 3000;
const AT_LEAST_MS = 60000; // time passes without facts too
const AT_MOST_MS = 9000; // machines count all the time: not the whole page for every part
const HELD_MS = 60000; // who has not moved for so long is not about to press

const PRESSED = "a, button, summary, label, input, select, textarea, [tabindex=\"0\"]";
// what an element does when it is pressed; all else is its look
const ACTS = ["href", "action", "formaction", "name", "value", "id", "type", "for"];

const KEY = 'input[type="hidden"][name="act_key"]'; // of a form, new on each reading
const HTML = "http://www.w3.org/1999/xhtml";

const parts = () => [...document.querySelectorAll("[data-live][id]")];
let known = null;
let readAt = Date.now();
let movedAt = 0;
let waiting = false;

for (const kind of ["pointermove", "pointerdown", "keydown", "wheel", "touchmove"])
  addEventListener(kind, () => (movedAt = Date.now()), { passive: true, capture: true });

/** What a person points at or has the focus on, if they may press it now. */
function aimedAt() {
  if (Date.now() - movedAt > HELD_MS) return null;
  const under = [...document.querySelectorAll(":hover")].at(-1)?.closest(PRESSED);
  const focused = document.activeElement?.matches("body, main") ? null : document.activeElement;
  return under ?? focused;
}

function isBusy(part) {
  if (part.contains(document.activeElement) && document.activeElement.matches("input, select, textarea")) return true;
  return [...part.querySelectorAll("input, textarea")].some(
    (field) => field.type !== "hidden" && field.value !== field.defaultValue,
  );
}

/** Whether two nodes differ in texts and looks alone, so that nothing has to be replaced. */
function isAlike(one, other) {
  if (one.nodeType !== other.nodeType || one.nodeName !== other.nodeName) return false;
  if (one.nodeType !== Node.ELEMENT_NODE) return true;
  const acts = one.namespaceURI === HTML && !one.matches(KEY);
  if (acts && ACTS.some((name) => one.getAttribute(name) !== other.getAttribute(name))) return false;
  return (
    one.childNodes.length === other.childNodes.length &&
    [...one.childNodes].every((child, place) => isAlike(child, other.childNodes[place]))
  );
}

/** Give a node the texts and looks of one that is alike. */
function takeOver(one, other) {
  if (one.nodeType !== Node.ELEMENT_NODE) {
    if (one.data !== other.data) one.data = other.data;
    return;
  }
  const open = one.matches("details[id]") && one.open; // a person opened it
  for (const { name } of [...one.attributes])
    if (!other.hasAttribute(name) && !(name === "open" && open)) one.removeAttribute(name);
  for (const { name, value } of other.attributes)
    if (one.getAttribute(name) !== value) one.setAttribute(name, value);
  one.childNodes.forEach((child, place) => takeOver(child, other.childNodes[place]));
}

function replace(part, fresh) {
  const open = new Set([...part.querySelectorAll("details[open][id]")].map((one) => one.id));
  const focused = part.contains(document.activeElement) ? document.activeElement : null;
  const same = focused?.id ? `#${CSS.escape(focused.id)}` : focused?.hasAttribute("href") && `[href="${CSS.escape(focused.getAttribute("href"))}"]`;
  part.replaceChildren(...fresh.childNodes);
  for (const id of open) part.querySelector(`#${CSS.escape(id)}`)?.setAttribute("open", "");
  if (same) part.querySelector(same)?.focus({ preventScroll: true });
  part.classList.remove("fresh");
  requestAnimationFrame(() => part.classList.add("fresh"));
}

/** Change a part as far as it may be changed now; false where some of it waits. */
function exchange(part, fresh, aim) {
  if (part.innerHTML === fresh.innerHTML) return true;
  const alike = isAlike(part, fresh);
  if (!alike && aim) return false;
  if (alike) part.childNodes.forEach((child, place) => takeOver(child, fresh.childNodes[place]));
  else replace(part, fresh);
  part.dispatchEvent(new CustomEvent("crib:fresh", { bubbles: true }));
  return true;
}

/** The first thing in the window that stays where it is while parts above it change. */
function anchor(aim) {
  if (aim) return aim;
  return parts().find((part) => part.getBoundingClientRect().bottom > 0) ?? null;
}

async function readAgain() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return false;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  const aim = aimedAt();
  const still = anchor(aim);
  const top = still?.getBoundingClientRect().top;
  let whole = true;
  for (const part of parts()) {
    const other = fresh.getElementById(part.id);
    if (other && !isBusy(part)) whole = exchange(part, other, aim) && whole;
  }
  if (still?.isConnected) scrollBy({ top: still.getBoundingClientRect().top - top, behavior: "instant" });
  readAt = Date.now();
  return whole;
}

async function ask() {
  if (document.hidden || waiting || !parts().length) return;
  waiting = true;
  try {
    const answer = await fetch("/live");
    if (!answer.ok) return;
    const { revision } = await answer.json();
    document.documentElement.dataset.connected = "yes";
    const age = Date.now() - readAt;
    const changed = known !== null && revision !== known;
    if (changed && age < AT_MOST_MS) return; // the next looks see it too
    if ((changed || age > AT_LEAST_MS) && !(await readAgain())) return; // what waits is read again
    known = revision;
  } catch {
    document.documentElement.dataset.connected = "no"; // shown by the page; asked again soon
  } finally {
    waiting = false;
  }
}

setInterval(ask, ASK_MS);
document.addEventListener("visibilitychange", ask);
ask();
