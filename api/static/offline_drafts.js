// Keeps what is being typed into a form that records something, until it is recorded.

const BEGIN = "crib.draft ";
const FIELDS = "input:not([type=hidden]):not([data-scan]), textarea, select";

function nameOf(form) {
  return `${BEGIN}${form.dataset.fact} ${form.dataset.station}`;
}

function typed(form) {
  const found = {};
  for (const field of form.querySelectorAll(FIELDS)) {
    if (field.type === "radio") {
      if (field.checked) found[field.name] = field.value;
    } else if (field.name && field.value !== field.defaultValue) {
      found[field.name] = field.value;
    }
  }
  return found;
}

function restore(form) {
  let kept;
  try {
    kept = JSON.parse(localStorage.getItem(nameOf(form)) ?? "{}");
  } catch {
    return;
  }
  for (const [name, text] of Object.entries(kept)) {
    for (const field of form.querySelectorAll(FIELDS)) {
      if (field.name !== name) continue;
      if (field.type === "radio") field.checked = field.value === text;
      else field.value = text;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }
}

/** Forget the draft of a form: it is recorded, or kept as a fact. */
export function forget(form) {
  localStorage.removeItem(nameOf(form));
}

/** Keep what is typed into the page's forms, and bring back what was. */
export function keepDrafts() {
  document.querySelectorAll("form[data-fact]").forEach(restore);
  document.addEventListener("input", (event) => {
    const form = event.target.closest?.("form[data-fact]");
    if (form) localStorage.setItem(nameOf(form), JSON.stringify(typed(form)));
  });
}
