// Takes order files in: chosen or dropped, each whole or not at all.
//
// In: files. Out: an `import_order` command a file, and below the field what became of it: taken in, or every mistake at
// its line with the text of the line.

import { post } from "./command.js";
import { byId, el } from "./dom.js";

const LARGEST_BYTES = 1_000_000;

/** Makes the field and the place around it work. */
export function answerImport() {
  const field = byId("files");
  const drop = byId("drop");
  field.addEventListener("change", async () => {
    const files = [...field.files];
    field.value = "";
    await takeIn(files);
  });
  drop.addEventListener("dragover", (event) => {
    event.preventDefault();
    drop.dataset.over = "yes";
  });
  drop.addEventListener("dragleave", () => delete drop.dataset.over);
  drop.addEventListener("drop", async (event) => {
    event.preventDefault();
    delete drop.dataset.over;
    await takeIn([...event.dataTransfer.files]);
  });
  // A file that misses the field must not take the page's place.
  for (const name of ["dragover", "drop"]) addEventListener(name, (event) => event.preventDefault());
}

async function takeIn(files) {
  const answers = byId("import-answers");
  answers.replaceChildren();
  for (const file of files) answers.append(await one(file));
}

async function one(file) {
  if (file.size > LARGEST_BYTES) return refused(file.name, "is too large for an order file", []);
  const text = await file.text();
  const answer = await post({ command: "import_order", file: file.name, text });
  if (answer === null) return refused(file.name, "is not taken in: the bench program does not answer", []);
  if (answer.ok) return el("div", { class: "answer", "data-outcome": "taken" }, el("p", {}, el("b", {}, file.name), " is taken in"));
  const problem = await answer.json().catch(() => ({}));
  const mistakes = problem.mistakes ?? [];
  if (mistakes.length === 0) return refused(file.name, `is not taken in: ${problem.detail ?? `the daemon answered ${answer.status}`}`, []);
  return refused(file.name, `is not taken in: ${mistakes.length} ${mistakes.length === 1 ? "mistake" : "mistakes"}`, mistakes);
}

function refused(name, words, mistakes) {
  return el(
    "div",
    { class: "answer", "data-outcome": "refused" },
    el("p", {}, el("b", {}, name), ` ${words}`),
    mistakes.length
      ? el(
          "ol",
          { class: "mistakes" },
          mistakes.map((mistake) =>
            el(
              "li",
              {},
              el("span", { class: "line-number" }, String(mistake.line)),
              el("code", {}, mistake.text || " "),
              el(
                "p",
                {},
                [mistake.key, [mistake.found && `found ${mistake.found}`, mistake.wanted].filter(Boolean).join(", ")]
                  .filter(Boolean)
                  .join(": "),
              ),
            ),
          ),
        )
      : null,
  );
}
