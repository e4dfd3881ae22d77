// Brings scans to the page's scan field ([data-scan], see scan_field.html), however they come.
//
// A scan dispatches "crib:scan" on the field, detail {text, by: "camera" | "photo" | "keys"}.
// Unless somebody prevents it, the text goes into the field and its form is sent; where another
// scan field of that form still has to be filled, it is that one's turn instead.

import { listenToKeys } from "./scan_keys.js";

const fields = () => [...document.querySelectorAll("[data-scan]")].filter((one) => !one.disabled);
let last = null;

/** The field that the next scan is meant for. */
function current() {
  const all = fields();
  if (all.includes(document.activeElement)) return document.activeElement;
  if (all.includes(last)) return last;
  return all.find((one) => !one.value) ?? all[0] ?? null;
}

function take(field, text, by) {
  const event = new CustomEvent("crib:scan", { bubbles: true, cancelable: true, detail: { text, by } });
  if (!field.dispatchEvent(event)) return;
  field.value = text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  const missing = fields().find((one) => one.form === field.form && one.required && !one.value);
  if (missing) missing.focus();
  else field.form?.requestSubmit();
}

/** Show the ways to scan that this browser has; the reader loads when one is used. */
function open(box) {
  const eyes = box.querySelector("[data-scan-eyes]");
  if (!eyes) return;
  const field = box.querySelector("[data-scan]");
  const told = box.querySelector("[data-scan-told]");
  const photo = box.querySelector("[data-scan-photo]");
  const tell = (what) => {
    told.textContent = what ? box.dataset[`told${what}`] : "";
    if (what === "NoCamera") photo.dataset.needed = ""; // the way out, where room is short too
  };
  const found = (by) => (text) => take(field, text, by);
  const reader = async () => {
    try {
      return await import("./scan_camera.js");
    } catch {
      tell("NoReader");
      return null;
    }
  };
  const camera = box.querySelector("[data-scan-camera]");
  const video = box.querySelector("[data-scan-video]");
  const file = box.querySelector("[data-scan-file]");
  camera.hidden = !(window.isSecureContext && navigator.mediaDevices?.getUserMedia);
  camera.addEventListener("click", async () => (await reader())?.switchCamera(camera, video, tell, found("camera")));
  photo.addEventListener("click", () => file.click());
  file.addEventListener("change", async () => {
    const picture = file.files[0];
    file.value = ""; // the same photo may come again
    if (picture) (await reader())?.readPhoto(picture, tell, found("photo"));
  });
  eyes.hidden = false;
}

// what led nowhere stays typed, to be mended by hand; the next scan or key replaces it
document.querySelector("[data-scan][autofocus]")?.select();
document.addEventListener("focusin", (event) => {
  if (event.target.matches("[data-scan]")) last = event.target;
});
document.querySelectorAll("[data-scan-box]").forEach(open);
listenToKeys(current, (field, text) => take(field, text, "keys"));
