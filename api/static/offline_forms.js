// Takes the forms that record something at a machine: kept first, then sent, then the next page.
//
// Without this script the same forms go to the pages' own addresses.

import { forget } from "./offline_drafts.js";
import { giveUp, keep, outcomes } from "./offline_queue.js";
import { allFacts } from "./offline_store.js";
import { siteNow } from "./offline_clock.js";
import { leftOf, undoes } from "./offline_undo.js";
import { copy, place, said, told, wordsOf } from "./offline_words.js";

const PATIENCE_MS = 6000;

class Unread extends Error {}

function wholeNumber(text) {
  const plain = text.replace(/[\s\u202f]/g, "");
  if (!/^\d{1,15}$/.test(plain)) throw new Unread(said("digits"));
  return Number(plain);
}

function decimal(text) {
  const plain = text.replace(/\s/g, "").replace(",", ".").replace("\u2212", "-");
  if (!/^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain)) throw new Unread(said("decimal", { text: text.trim() }));
  return plain;
}

/** What a form says: one fact, or one per axis. */
function read(form, pressed) {
  const given = new FormData(form, pressed?.name ? pressed : undefined);
  const text = (name) => (given.get(name) ?? "").toString().trim();
  const at = new Date(siteNow()).toISOString();
  const common = { at, ...(place.dataset.by && { by: place.dataset.by }) };
  const about = { at, machine: form.dataset.machine, station: form.dataset.station, mark: form.dataset.mark };
  const counter = text("part_count") ? { part_count: wholeNumber(text("part_count")) } : {};
  if (form.dataset.fact === "mount") {
    const tool = text("tool");
    const scanned = { station: text("station"), assembly: tool };
    const body = { ...common, station: text("station"), assembly: tool, scanned, ...counter };
    return [{ ...about, what: "mount", tool, path: "/v1/mounts", body }];
  }
  if (form.dataset.fact === "removal") {
    if (!text("reason")) throw new Unread(said("noReason"));
    const inches = place.dataset.unit === "in";
    const land = text("flank_wear") ? { [inches ? "flank_wear_in" : "flank_wear_mm"]: decimal(text("flank_wear")) } : {};
    const body = { ...common, station: text("station"), reason: text("reason"), ...land, ...counter };
    const path = inches ? "/v1/removals?length_unit=in" : "/v1/removals";
    return [{ ...about, what: "removal", tool: form.dataset.tool, reason: pressed?.textContent.trim(), path, body }];
  }
  return steps(form, text, common, about);
}

function steps(form, text, common, about) {
  const inches = form.dataset.unit === "in";
  const axes = [...form.querySelectorAll("[data-axis]")].map((one) => one.dataset.axis);
  const right = Boolean(text("right"));
  const kind = right ? "first_off" : text("kind");
  const found = [];
  for (const axis of axes) {
    const typed = right ? "0" : text(`change_${axis}`);
    if (!typed) continue;
    const change = decimal(typed);
    if (kind === "size" && Number(change) === 0) continue;
    const body = { ...common, station: text("station"), axis, [inches ? "change_in" : "change_mm"]: change, kind };
    const path = inches ? "/v1/corrections?length_unit=in" : "/v1/corrections";
    found.push({ ...about, what: "correction", tool: form.dataset.tool, step: `${axis} ${change}`, path, body });
  }
  if (!found.length) throw new Unread(said("noStep"));
  return found;
}

/** The page that shows what facts came to. */
function pageOf(form, done) {
  const machine = `/machines/${encodeURIComponent(form.dataset.machine)}`;
  const facts = done.map((one) => one.answer.fact).join(",");
  const query = new URLSearchParams();
  if (done[0].answer.part_count_refused) query.set("count", "aside");
  if (form.dataset.then) query.set("then", form.dataset.then);
  const rest = query.size ? `?${query}` : "";
  const kind = { mount: "mounts", removal: "removals", correction: "corrections" }[form.dataset.fact];
  return `${machine}/${kind}/${facts}${rest}`;
}

function complain(form, sentence, wrong = []) {
  form.querySelector("[data-complaint]")?.remove();
  const box = document.createElement("div");
  box.className = "wrong";
  box.role = "alert";
  box.dataset.complaint = "";
  for (const text of [sentence, ...wrong].filter(Boolean)) {
    const line = document.createElement("p");
    line.textContent = text;
    box.append(line);
  }
  form.prepend(box);
  box.scrollIntoView({ block: "center" });
}

async function refused(form, keys, outcome) {
  // the person stands here and reads the answer: nothing has to wait for them
  for (const fact of await allFacts()) {
    if (keys.includes(fact.key) && fact.state === "refused") await giveUp(fact.id);
  }
  if (form.dataset.fact === "mount" && outcome.status === 409 && form.dataset.verdict) {
    location.assign(form.dataset.verdict);
    return;
  }
  const { detail, said: inWords, errors = [] } = outcome.answer;
  const more = errors.filter((one) => !detail?.includes(one.detail));
  complain(form, inWords ?? detail, more.map((one) => one.said ?? one.detail));
}

async function waiting(form, keys) {
  const facts = await leftOf(keys);
  if (!facts.length) return; // undone while we waited
  const made = copy("kept", { what: facts.map(wordsOf).join(", "), when: told(facts[0].at) });
  undoes(made.querySelector("[data-undo]"), facts[0]);
  const undone = (event) => {
    if (event.detail !== facts[0].touch) return;
    made.replaceWith(form);
    document.removeEventListener("crib:undone", undone);
  };
  document.addEventListener("crib:undone", undone);
  form.replaceWith(made);
  if (form.matches(".pinned")) made.classList.add("pinned");
  else made.scrollIntoView({ block: "center" });
  document.dispatchEvent(new CustomEvent("crib:kept", { detail: { facts, then: form.dataset.then } }));
}

async function take(form, pressed) {
  let facts;
  try {
    facts = read(form, pressed);
  } catch (problem) {
    if (!(problem instanceof Unread)) throw problem;
    complain(form, problem.message);
    return;
  }
  form.querySelectorAll("button").forEach((one) => (one.disabled = true));
  try {
    const keys = await keep(facts);
    forget(form);
    const late = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS, keys.map(() => null)));
    const done = await Promise.race([outcomes(keys), late]);
    const no = done.find((one) => one && !one.ok);
    if (no) await refused(form, keys, no);
    else if (done.every(Boolean)) location.assign(pageOf(form, done));
    else await waiting(form, keys);
  } finally {
    form.querySelectorAll("button").forEach((one) => (one.disabled = false));
  }
}

/** Take the page's forms from now on. */
export function takeForms() {
  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-fact]");
    if (!form || event.defaultPrevented) return;
    event.preventDefault();
    take(form, event.submitter);
  });
}
