// Forms that are commands: what is filled in goes to the daemon, and its answer is shown.
//
// In: forms with `data-command`, and `data-instrument` where it is for one. Out: commands. Empty fields are left out, unless
// they say what an empty field means; `data-as="number"` and ticks become numbers and truths,
// `data-as="list"` names with commas between.

import { send } from "./command.js";

/** Makes the forms below `root` work; each once. */
export function answerForms(root) {
  const own = root.matches?.("form[data-command]") ? [root] : [];
  for (const form of [...own, ...root.querySelectorAll("form[data-command]")]) {
    if (form.dataset.answered) continue;
    form.dataset.answered = "yes";
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = event.submitter ?? form.querySelector("button");
      if (button) button.disabled = true;
      try {
        await send(commandOf(form, button));
      } finally {
        if (button) button.disabled = false;
      }
    });
  }
}

function commandOf(form, button) {
  // A form with two buttons: the second one names its own command.
  const command = { command: button?.dataset.command ?? form.dataset.command };
  if (form.dataset.instrument) command.instrument = form.dataset.instrument;
  for (const field of form.elements) {
    if (!field.name) continue;
    if (field.type === "checkbox") {
      command[field.name] = field.checked;
      continue;
    }
    const text = field.value.trim();
    if (text === "") {
      if (field.dataset.empty === "null") command[field.name] = null;
      continue;
    }
    if (field.dataset.as === "list") {
      command[field.name] = text.split(",").map((name) => name.trim()).filter(Boolean);
      continue;
    }
    // A number that is none goes as it was typed: the daemon says what it expected.
    const number = Number(text);
    command[field.name] = field.dataset.as === "number" && Number.isFinite(number) ? number : text;
  }
  return command;
}
