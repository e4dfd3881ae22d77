// One key for each act of the bench: a button says its key by data-key. Function keys are no
// characters, so they act from within a field too.

document.addEventListener("keydown", (event) => {
  if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
  const button = document.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
  if (!button || button.disabled) return;
  event.preventDefault();
  button.click();
});

// A choice that only changes what is shown needs no second press.
document.addEventListener("change", (event) => {
  if (event.target.matches("[data-send-on-change]")) event.target.form.requestSubmit();
});
