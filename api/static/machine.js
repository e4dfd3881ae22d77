// Comfort at a machine: plus and minus by the control's least step, the block copied or saved.
// Figures are added as whole numbers of their last place, so that no digit is ever lost.

/** A decimal text as a whole number of its last place. */
function whole(text, places) {
  const found = /^([+-]?)(\d*)[.,]?(\d*)$/.exec(text.trim().replace(/\s/g, ""));
  if (!found || !(found[2] || found[3])) return null;
  const part = found[3].replace(/0+$/, ""); // more zeros than the control has places change nothing
  if (part.length > places) return null;
  const digits = BigInt(found[2] + part.padEnd(places, "0"));
  return found[1] === "-" ? -digits : digits;
}

function written(value, places) {
  const digits = (value < 0n ? -value : value).toString().padStart(places + 1, "0");
  const sign = value < 0n ? "-" : value > 0n ? "+" : "";
  return `${sign}${digits.slice(0, -places)}.${digits.slice(-places)}`;
}

/** Plus and minus of one axis; what it will hold is shown where what it holds is known. */
export function stepper(axis) {
  const field = axis.querySelector("input");
  const told = axis.querySelector("[data-then]");
  const output = axis.querySelector("[data-will-hold]");
  const places = axis.dataset.increment.split(".")[1].length;
  const now = axis.dataset.now ? whole(axis.dataset.now, places) : null;
  const increment = whole(axis.dataset.increment, places);
  const show = () => {
    const change = field.value.trim() ? whole(field.value, places) : null;
    if (now === null) return;
    told.hidden = change === null;
    if (change !== null) output.textContent = written(now + change, places);
  };
  for (const button of axis.querySelectorAll("[data-step]")) {
    button.hidden = false;
    button.textContent = written(increment * BigInt(button.dataset.step), places).replace("-", "−");
    button.addEventListener("click", () => {
      const change = (whole(field.value, places) ?? 0n) + increment * BigInt(button.dataset.step);
      field.value = change === 0n ? `0.${"0".repeat(places)}` : written(change, places);
      field.dispatchEvent(new Event("input", { bubbles: true }));
    });
  }
  field.addEventListener("input", show);
  show();
}

/** Copy and download of the text for the control. */
export function blockButtons(details) {
  const copied = details.querySelector("[data-copied]");
  const copy = details.querySelector("[data-copy]");
  const save = details.querySelector("[data-download]");
  const pre = details.querySelector("pre");
  const text = pre.textContent;
  copy.hidden = save.hidden = false;
  copy.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(text);
    } catch {
      getSelection().selectAllChildren(pre); // plain http has no clipboard: marked, to be copied by hand
      if (!document.execCommand("copy")) return;
    }
    copied.textContent = copy.dataset.told;
  });
  save.addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "text/plain" }));
    link.download = save.dataset.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  });
}

/** A yes or a no that is felt and heard as well, where the device can: one short, three long. */
export function signal(fits) {
  // the browser wants a touch first: without one it refuses, and says so where nobody looks
  if (!navigator.userActivation?.hasBeenActive) return;
  navigator.vibrate?.(fits ? 120 : [300, 120, 300, 120, 300]);
  if (!window.AudioContext) return;
  const sound = new AudioContext();
  if (sound.state !== "running") return void sound.close();
  const beats = fits ? [[880, 0, 0.15]] : [0, 0.4, 0.8].map((at) => [220, at, 0.3]);
  for (const [pitch, at, lasts] of beats) {
    const tone = new OscillatorNode(sound, { frequency: pitch });
    tone.connect(new GainNode(sound, { gain: 0.3 })).connect(sound.destination);
    tone.start(sound.currentTime + at);
    tone.stop(sound.currentTime + at + lasts);
    if (at === beats.at(-1)[1]) tone.addEventListener("ended", () => sound.close());
  }
}

const verdict = document.querySelector("#verdict");
if (verdict) signal(verdict.classList.contains("yes"));
document.querySelectorAll("[data-axis]").forEach(stepper);
document.querySelectorAll("details:has([data-copy])").forEach(blockButtons);
