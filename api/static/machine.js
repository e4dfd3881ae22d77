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

document.querySelectorAll("[data-axis]").forEach(stepper);
document.querySelectorAll("details:has([data-copy])").forEach(blockButtons);
