// Tells a scanner that types from a person, wherever the page's focus is.
//
// A scanner sends its characters a few milliseconds apart, with or without Enter. From its fifth
// character on they are kept from where the focus is; what the first ones did there is undone
// once the scan is whole. Text that proves to be no scan goes back to where it was typed.

import { isWholeCode } from "./codes.js";

// Common practice, no source: scanners send a character every 1 to 20 ms; hands that type fast
// need 60 ms and more, and no four keys in a row within 40 ms each.
const GAP_MS = 40;
const SURE_AFTER = 4;
const PAUSE_MS = 120;

const TEXT = "input:not([type]), input[type=text], input[type=search], input[type=number], input[type=tel], input[type=url], input[type=email], input[type=password], textarea";

function remember(element) {
  if (!element?.matches?.(`${TEXT}, select`)) return null;
  const { value, selectionStart, selectionEnd } = element;
  return { element, value, selectionStart, selectionEnd, typed: element.matches(TEXT) };
}

function undo(before) {
  if (!before || before.element.value === before.value) return;
  const { element, value, selectionStart, selectionEnd } = before;
  element.value = value;
  if (before.typed && selectionStart !== null) element.setSelectionRange(selectionStart, selectionEnd);
  element.dispatchEvent(new Event("input", { bubbles: true }));
}

/** Give back the characters that were kept from a text field. */
function giveBack(before, kept) {
  if (!before?.typed || !kept || !before.element.isConnected) return;
  const { element } = before;
  if (element.selectionStart === null) element.value += kept;
  else element.setRangeText(kept, element.selectionStart, element.selectionEnd, "end");
  element.dispatchEvent(new Event("input", { bubbles: true }));
}

/**
 * Listen to all keys of the page.
 *
 * @param {() => HTMLInputElement | null} current field that the next scan is meant for
 * @param {(field: HTMLInputElement, text: string) => void} take told of every scan
 */
export function listenToKeys(current, take) {
  let burst = null; // { text, kept, at, before, field }
  let timer = 0;

  const end = () => {
    clearTimeout(timer);
    const ended = burst;
    burst = null;
    return ended;
  };
  const whole = (ended) => {
    const { before, field, text } = ended;
    undo(before);
    // where the page was busy for a moment, the beginning stands in the field already
    const joined = before?.element === field ? before.value.trim() + text : text;
    take(field, !isWholeCode(text) && isWholeCode(joined) ? joined : text);
  };
  const pause = () => {
    const ended = end();
    if (ended.text.length > SURE_AFTER && isWholeCode(ended.text)) whole(ended);
    else giveBack(ended.before, ended.kept);
  };
  const giveUp = () => {
    const ended = end();
    if (ended) giveBack(ended.before, ended.kept);
  };

  const onKey = (event) => {
    if (["Shift", "CapsLock", "AltGraph"].includes(event.key)) return;
    const quick = burst !== null && event.timeStamp - burst.at <= GAP_MS && !event.repeat;
    if (!quick) giveUp();
    if (event.key === "Enter" || event.key === "Tab") {
      if (!burst || burst.text.length < SURE_AFTER) return giveUp();
      event.preventDefault();
      event.stopImmediatePropagation();
      return whole(end());
    }
    const printed = [...event.key].length === 1 && !event.ctrlKey && !event.metaKey && !event.isComposing;
    if (!printed) return giveUp();
    if (!burst) {
      const field = current();
      if (!field) return;
      burst = { text: "", kept: "", at: 0, before: remember(document.activeElement), field };
    }
    burst.text += event.key;
    burst.at = event.timeStamp;
    if (burst.text.length > SURE_AFTER) {
      burst.kept += event.key;
      event.preventDefault();
      event.stopImmediatePropagation();
    }
    clearTimeout(timer);
    timer = setTimeout(pause, PAUSE_MS);
  };
  window.addEventListener("keydown", onKey, { capture: true });
}
