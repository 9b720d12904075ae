// Takes order files in: chosen or dropped, each whole or not at all.
//
// In: files. Out: an `import_order` command a file, and below the field what became of it: taken in, or every mistake at
// its line with the text of the line.

import { post } from "./command.js";
import { byId, el } from "./dom.js";
import { counted, t, told } from "./language.js";

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
  if (file.size > LARGEST_BYTES) return refused(t("import.too_large", { file: file.name }), []);
  const text = await file.text();
  const answer = await post({ command: "import_order", file: file.name, text });
  if (answer === null) return refused(t("import.no_answer", { file: file.name }), []);
  if (answer.ok) {
    const { said = [] } = await answer.json().catch(() => ({}));
    const remarks = said.map((sentence) => told("p", {}, sentence));
    return el("div", { class: "answer", "data-outcome": "taken" }, el("p", {}, t("import.taken", { file: file.name })), remarks);
  }
  const problem = await answer.json().catch(() => ({}));
  const mistakes = problem.mistakes ?? [];
  if (mistakes.length === 0) return refused(t("import.not_taken", { file: file.name }), [], problem.detail ?? String(answer.status));
  return refused(counted("import.mistakes", mistakes.length, { file: file.name }), mistakes);
}

// Where the mistake is and what stands there, before what was wanted.
function before(mistake) {
  const key = mistake.key ? `${mistake.key}: ` : "";
  return mistake.found ? `${key}${t("import.found", { what: mistake.found })}, ` : key;
}

function refused(words, mistakes, reason = null) {
  return el(
    "div",
    { class: "answer", "data-outcome": "refused" },
    el("p", {}, words),
    reason === null ? null : told("p", {}, reason),
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
              el("p", {}, before(mistake), told("span", {}, mistake.wanted)),
            ),
          ),
        )
      : null,
  );
}
