// Checks scans against what was last known of the machine, where the service does not answer.
//
// Nothing is worked out here: the service has weighed every tool that may come, station by
// station, and written down what to key in. What was pressed since then is laid over it. Anything
// else is not known here, and says so.

import { stripAddress } from "./codes.js";
import { look, siteNow } from "./offline_clock.js";
import { allFacts, isIn, knownOf } from "./offline_store.js";
import { blockButtons, signal, stepper } from "./machine.js";
import { copy, place, said, told } from "./offline_words.js";

const box = document.getElementById("check");
const state = { station: null, tool: null, read: "" };

/** Station and tool that a text names, as last known. */
function named(known, text) {
  const bare = stripAddress(text).toUpperCase();
  const is = (other) => other?.toUpperCase() === bare;
  const station = known.stations.find((one) => is(one.code) || is(one.mark));
  const tool = known.tools.find(
    (one) => is(one.code) || one.void_codes.some(is) || is(one.holder_code) || is(one.holder),
  );
  return { station, tool, bare };
}

/** What was pressed here since the machine's state was told: who sits where, what is over. */
async function laidOver(known) {
  const holds = new Map(known.stations.map((one) => [one.code, one.holds]));
  const gone = new Set();
  const out = new Set();
  const facts = (await allFacts()).filter((one) => one.machine === known.machine && one.state !== "refused");
  const since = facts.filter((one) => !isIn(known, one));
  const undone = new Set(since.map((one) => one.undoes));
  for (const fact of since) {
    if (undone.has(fact.key)) continue;
    if (fact.undoes) {
      if (since.some((one) => one.key === fact.undoes)) continue; // neither is known: nothing happened
      if (fact.what === "mount") holds.set(fact.station, null);
      if (fact.what === "removal") holds.set(fact.station, fact.tool);
    } else if (fact.what === "mount") {
      holds.set(fact.station, named(known, fact.tool).tool?.code ?? fact.tool);
      out.delete(holds.get(fact.station));
    } else if (fact.what === "removal") {
      const code = holds.get(fact.station);
      if (code) (known.stays_built.includes(fact.body.reason) ? out : gone).add(code);
      holds.set(fact.station, null);
    }
  }
  return { holds, gone, out };
}

function against(known, over, station, tool, read) {
  const names = { tool: read, code: tool.code, spec: tool.spec, station: station.mark };
  const found = [];
  if (tool.void_codes.includes(read)) found.push({ told: said("voidLabel", names) });
  if (over.gone.has(tool.code)) found.push({ told: said("usedUp", names) });
  const verdict = tool.looks[station.code];
  if (!verdict) {
    const places = Object.keys(tool.looks).map((code) => known.stations.find((one) => one.code === code)?.mark);
    found.push({ told: places.length ? said("otherPlace", { ...names, places: places.join(", ") }) : said("notKnownFor", names) });
  } else if (verdict.void_after && siteNow() > Date.parse(verdict.void_after)) {
    found.push({ told: said("presetVoid", { ...names, time: told(verdict.void_after) }) });
  }
  const elsewhere = [...over.holds].find(([code, held]) => held === tool.code && code !== station.code);
  for (const one of verdict?.against ?? []) {
    if (one.slug === "station-occupied") continue; // as it is by now, below
    if (one.slug === "mounted-elsewhere" && over.out.has(tool.code)) continue;
    found.push(one);
  }
  if (elsewhere && !found.some((one) => one.slug === "mounted-elsewhere")) {
    const mark = known.stations.find((one) => one.code === elsewhere[0]).mark;
    found.push({ told: said("sitsIn", { ...names, other: mark }) });
  }
  const there = over.holds.get(station.code);
  if (there) found.push({ slug: "station-occupied", told: said("occupied", { ...names, other: there }) });
  return { found, verdict, there };
}

function aim(form, known, station, tool) {
  Object.assign(form.dataset, { machine: known.machine, station: station.code, mark: station.mark, tool });
  form.elements.station.value = station.code;
  return form;
}

function removal(known, station, tool) {
  const made = copy("take-out");
  aim(made.querySelector("form"), known, station, tool);
  return made;
}

function correction(known, station, tool, axes) {
  const made = copy("step");
  const form = aim(made.querySelector("form"), known, station, tool);
  form.dataset.unit = station.unit;
  const slot = form.querySelector("[data-axes]");
  for (const axis of axes) {
    const part = copy("axis", { axis: axis.axis, unit: station.unit, counted: axis.counted });
    Object.assign(part.dataset, { axis: axis.axis, increment: station.increment, now: "" });
    const field = part.querySelector("input");
    field.name = `change_${axis.axis}`;
    field.id = `change-${axis.axis}`;
    part.querySelector("label").htmlFor = field.id;
    stepper(part);
    slot.append(part);
  }
  return made;
}

let signalled = "";

function verdictPart(known, over) {
  const { station, tool, read } = state;
  const { found, verdict, there } = against(known, over, station, tool, read);
  const fits = !found.length;
  const answer = `${fits} ${station.mark} ${tool.code}`;
  if (answer !== signalled) signal(fits); // once, however often the part is drawn anew
  signalled = answer;
  const made = copy(fits ? "yes" : "no", { asked: said("asked", { code: tool.code, station: station.mark }) });
  const parts = [made];
  if (fits) {
    made.querySelector("[data-key-in]").innerHTML = verdict.key_in; // the service wrote and escaped it
    made.querySelectorAll("details:has([data-copy])").forEach(blockButtons);
    const form = aim(made.querySelector("form"), known, station, read);
    form.elements.tool.value = read;
  } else {
    const lines = found.map((one) => Object.assign(document.createElement("li"), { textContent: one.told }));
    made.querySelector("[data-against]").append(...lines);
    if (there) parts.push(removal(known, station, there));
  }
  return parts;
}

function stationPart(known, over) {
  const { station } = state;
  const held = over.holds.get(station.code);
  const spec = known.tools.find((one) => one.code === held)?.spec ?? "";
  const text = held ? said("holds", { station: station.mark, code: held, spec }) : said("isEmpty", { station: station.mark });
  const wants = station.specs.length ? said("wants", { spec: station.specs.join(", ") }) : "";
  const parts = [copy("told", { told: `${text} ${wants}` })];
  if (!held) return parts;
  const axes = station.holds === held ? station.axes : known.tools.find((one) => one.code === held)?.looks[station.code]?.axes;
  parts.push(removal(known, station, held));
  if (axes?.length) parts.push(correction(known, station, held, axes));
  return parts;
}

function toolPart(known) {
  const { tool } = state;
  const places = Object.keys(tool.looks).map((code) => known.stations.find((one) => one.code === code)?.mark);
  const text = said(places.length ? "belongs" : "sits", { code: tool.code, spec: tool.spec, places: places.join(", ") || tool.station });
  return [copy("told", { told: text })];
}

async function show(problem = "") {
  const known = await knownOf(place.dataset.machine);
  const parts = [];
  if (!known) parts.push(copy("mis-scan", { told: said("nothingKnown") }));
  else {
    const over = await laidOver(known);
    if (problem) parts.push(copy("mis-scan", { told: problem }));
    if (state.station && state.tool) parts.push(...verdictPart(known, over));
    else if (state.station) parts.push(...stationPart(known, over));
    else if (state.tool) parts.push(...toolPart(known));
    parts.push(copy("as-known", { known: said("asKnown", { time: known.known_at_told }) }));
  }
  document.querySelectorAll("[data-answer]").forEach((one) => (one.hidden = true)); // to an earlier scan
  const headings = [...document.querySelectorAll("main h1")].filter((one) => !box.contains(one));
  if (!headings.some((one) => one.checkVisibility())) {
    const heading = document.createElement("h1");
    heading.className = "off-screen";
    heading.textContent = place.dataset.machine;
    parts.unshift(heading);
  }
  box.replaceChildren(...parts);
  const form = document.querySelector("form[data-scan-on]");
  form?.classList.toggle("pinned", !box.querySelector(".pinned"));
  keepInView(box.querySelector(".verdict, [role=alert], .check-told"));
  if (form) form.elements.code.value = "";
}

/** Have what answers a scan in the window: from the top of the page, if that shows it. */
function keepInView(answer) {
  scrollTo(0, 0);
  const pinned = document.querySelector(".pinned")?.offsetHeight ?? 0;
  if (answer.getBoundingClientRect().bottom > innerHeight - pinned) box.scrollIntoView({ block: "start" });
}

/** Check a scan against what was last known. */
export async function check(text) {
  const known = await knownOf(place.dataset.machine);
  if (!known) return show();
  const { station, tool, bare } = named(known, text);
  if (station) state.station = station;
  if (tool) Object.assign(state, { tool, read: bare });
  if (!station && !tool && state.station) state.tool = null; // no yes to another tool beside a scan that is no tool
  return show(station || tool ? "" : said("unknownCode", { code: bare }));
}

/** Check what the page's address asks, where the worker answered with another page in its place. */
export async function checkAddress() {
  if (document.querySelector("h1.asked")) return; // the service itself weighed it: one verdict is enough
  const query = new URLSearchParams(location.search);
  const [, , , kind, code] = location.pathname.split("/");
  const asked = ["station", "tool", "code"].map((name) => query.get(name));
  if (kind === "stations") asked.push(decodeURIComponent(code));
  for (const text of asked) if (text) await check(text);
}

/** Take scans from now on: to the service where it answers, else to what was last known. */
export function takeScans(connected) {
  document.addEventListener("submit", async (event) => {
    const form = event.target.closest("form[data-scan-on]");
    if (!form) return;
    event.preventDefault();
    const text = form.elements.code.value.trim();
    if (await look()) {
      form.submit();
      return;
    }
    connected(false);
    for (const name of ["station", "tool"]) {
      const before = form.elements[name]?.value;
      if (before && !state.station && !state.tool) await check(before);
    }
    if (text) await check(text);
  });
  document.addEventListener("crib:kept", async (event) => {
    const [fact] = event.detail.facts;
    const then = new URL(event.detail.then || "?", location.href).searchParams;
    for (const name of ["station", "tool"]) if (then.get(name)) await check(then.get(name));
    if (fact.what === "mount") state.tool = null; // next: its first part
    if (fact.what !== "correction" && state.station) await show();
  });
  document.addEventListener("crib:undone", async () => {
    if (state.station) await show();
  });
}
