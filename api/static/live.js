// Keeps the parts marked data-live as they are now: asks cheaply whether anything was recorded,
// then reads the page again and exchanges those parts. What a person types is never touched.

const ASK_MS = 3000;
const AT_LEAST_MS = 60000; // time passes without facts too
const AT_MOST_MS = 9000; // machines count all the time: not the whole page for every part

const parts = () => [...document.querySelectorAll("[data-live][id]")];
let known = null;
let readAt = Date.now();
let waiting = false;

function isBusy(part) {
  if (part.contains(document.activeElement) && document.activeElement.matches("input, select, textarea")) return true;
  return [...part.querySelectorAll("input, textarea")].some(
    (field) => field.type !== "hidden" && field.value !== field.defaultValue,
  );
}

function exchange(part, fresh) {
  if (part.innerHTML === fresh.innerHTML) return;
  const open = new Set([...part.querySelectorAll("details[open][id]")].map((one) => one.id));
  const focused = part.contains(document.activeElement) ? document.activeElement.id : "";
  part.replaceChildren(...fresh.childNodes);
  for (const id of open) part.querySelector(`#${CSS.escape(id)}`)?.setAttribute("open", "");
  if (focused) document.getElementById(focused)?.focus();
  part.classList.remove("fresh");
  requestAnimationFrame(() => part.classList.add("fresh"));
  part.dispatchEvent(new CustomEvent("crib:fresh", { bubbles: true }));
}

async function readAgain() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const part of parts()) {
    const other = fresh.getElementById(part.id);
    if (other && !isBusy(part)) exchange(part, other);
  }
  readAt = Date.now();
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
    if (changed || age > AT_LEAST_MS) await readAgain();
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
