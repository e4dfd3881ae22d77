// The words of the offline parts, as the server wrote them into the page in the reader's language.

export const place = document.getElementById("offline");

/** A text of the page's words, with values filled in. */
export function said(name, values = {}) {
  const text = place.dataset[`said${name[0].toUpperCase()}${name.slice(1)}`] ?? name;
  return text.replace(/\{(\w+)\}/g, (whole, key) => values[key] ?? whole);
}

/** A fact in words. */
export function wordsOf(fact) {
  const values = { station: fact.mark ?? fact.station, tool: fact.tool ?? "", reason: fact.reason ?? "", step: fact.step ?? "" };
  const words = said(fact.what, values);
  return fact.undoes ? said("undo", { what: words }) : words;
}

/** An instant as a person at the site reads it. */
export function told(at) {
  const { zone, locale, hours } = place.dataset;
  const look = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" };
  return new Date(at).toLocaleString(locale, { ...look, timeZone: zone, hour12: hours === "12" });
}

/** The same without the day. */
export function clock(at) {
  const { zone, locale, hours } = place.dataset;
  return new Date(at).toLocaleTimeString(locale, { hour: "2-digit", minute: "2-digit", timeZone: zone, hour12: hours === "12" });
}

/** A copy of a template of the page, its named places filled in. */
export function copy(name, texts = {}) {
  const made = document.getElementById(name).content.cloneNode(true).firstElementChild;
  for (const [key, text] of Object.entries(texts)) {
    const named = `[data-text=${key}]`;
    for (const one of [made, ...made.querySelectorAll(named)]) if (one.matches(named)) one.textContent = text;
  }
  return made;
}
