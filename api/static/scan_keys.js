// Tells a scanner that types from a person, wherever the page's focus is.
//
// A scanner sends its characters a few milliseconds apart, with or without Enter. From its fifth
// character on they are kept from where the focus is; what the first ones did there is undone
// once the scan is whole. Text that proves to be no scan goes back to where it was typed.

import { isWholeCode } from "./codes.js";

// Common practice, no source: scanners send a character every 1 to 50 ms; hands that type fast
// need 70 ms and more. Judged by when keys were pressed, on the mean of the burst: a busy
// machine handles them late and stretches single gaps.
const MEAN_MS = 60;
const GAP_MS = 120;
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
  let burst = null; // { text, kept, since, at, before, field }
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
  const quickSoFar = (at) => at - burst.since <= MEAN_MS * burst.text.length;
  const handBack = () => {
    giveBack(burst.before, burst.kept);
    burst.kept = "";
  };
  // keys pressed in time may still come late: the burst stays, only what was kept goes back
  const pause = () => {
    if (burst.text.length > SURE_AFTER && quickSoFar(burst.at) && isWholeCode(burst.text)) whole(end());
    else handBack();
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
      if (!burst || burst.text.length < SURE_AFTER || !quickSoFar(event.timeStamp)) return giveUp();
      event.preventDefault();
      event.stopImmediatePropagation();
      return whole(end());
    }
    const printed = [...event.key].length === 1 && !event.ctrlKey && !event.metaKey && !event.isComposing;
    if (!printed) return giveUp();
    if (!burst) {
      const field = current();
      if (!field) return;
      const at = event.timeStamp;
      burst = { text: "", kept: "", since: at, at, before: remember(document.activeElement), field };
    }
    const quickly = quickSoFar(event.timeStamp);
    burst.text += event.key;
    burst.at = event.timeStamp;
    if (!quickly) handBack();
    else if (burst.text.length > SURE_AFTER) {
      burst.kept += event.key;
      event.preventDefault();
      event.stopImmediatePropagation();
    }
    clearTimeout(timer);
    timer = setTimeout(pause, PAUSE_MS);
  };
  window.addEventListener("keydown", onKey, { capture: true });
}
