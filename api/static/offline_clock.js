// Whether the service answers, and what time it is there, whatever this phone's clock says.
//
// The site's clock is asked with every look for the network; between the looks this phone's
// clock counts on from there. Kept, so that a page opened in a dead spot knows it too.

const KEPT = "crib.clock";
const LOOK_MS = 3000;
let seen = kept();

function kept() {
  try {
    return JSON.parse(localStorage.getItem(KEPT));
  } catch {
    return null;
  }
}

/** The site's present, as well as it is known [ms since 1970]. */
export function siteNow() {
  if (!seen) return Date.now();
  return seen.site + (Date.now() - seen.here) * seen.speed;
}

/** Ask the service for its time; false where it does not answer. */
export async function look() {
  const began = Date.now();
  try {
    const answer = await fetch("/machines/clock.json", { cache: "no-store", signal: AbortSignal.timeout(LOOK_MS) });
    const told = answer.ok ? await answer.json() : null;
    if (!told?.now) return false; // some other network answers in its place
    seen = { site: Date.parse(told.now), here: (began + Date.now()) / 2, speed: told.speed };
    localStorage.setItem(KEPT, JSON.stringify(seen));
    return true;
  } catch {
    return false;
  }
}
