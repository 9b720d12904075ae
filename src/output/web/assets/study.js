// The pages of gauge studies: sends what a button or the form asks for, and follows the bench.
//
// In: buttons with `data-command`, the form of a new study. Out: commands to the daemon, and the page drawn again by the
// daemon when the study moves. Nothing is computed here.

const TOKEN_KEY = "bench-token";

async function post(command) {
  const headers = { "content-type": "application/json" };
  const token = sessionStorage.getItem(TOKEN_KEY);
  if (token) headers.authorization = `Bearer ${token}`;
  return fetch("/api/v1/command", { method: "POST", headers, body: JSON.stringify(command) });
}

/** Sends a command; true when it was done, else the daemon's words are shown. */
async function send(command) {
  try {
    let answer = await post(command);
    if (answer.status === 401) {
      const token = window.prompt("This bench wants its token (file bench.token of its data folder)");
      if (!token) return tell("not done: the bench wants its token");
      sessionStorage.setItem(TOKEN_KEY, token);
      answer = await post(command);
    }
    if (answer.ok) {
      tell("");
      return true;
    }
    if (answer.status === 401) sessionStorage.removeItem(TOKEN_KEY);
    const problem = await answer.json().catch(() => ({}));
    return tell(problem.detail ?? `not done (${answer.status})`);
  } catch {
    return tell("the bench program does not answer; nothing was changed");
  }
}

function tell(words) {
  const notice = document.getElementById("notice");
  notice.textContent = words;
  notice.hidden = words === "";
  return false;
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button[data-command]");
  if (!button) return;
  const command = JSON.parse(button.dataset.command);
  if (button.dataset.sure && !window.confirm(button.dataset.sure)) return;
  if (button.dataset.why) {
    const why = window.prompt(button.dataset.why);
    if (why === null) return;
    command.why = why;
  }
  button.disabled = true;
  await send(command);
  button.disabled = false;
  await refresh();
});

document.getElementById("begin")?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = new FormData(event.target);
  const instrument = form.get("instrument");
  const command = {
    command: "study_begin",
    instrument,
    people: form.get("people").split(",").map((name) => name.trim()).filter(Boolean),
    parts: Number(form.get("parts")),
    trials: Number(form.get("trials")),
  };
  for (const key of ["characteristic", "tolerance"]) if (form.get(key)) command[key] = form.get(key);
  if (form.get("of_order")) command.tolerance_of_order = true;
  if (!(await send(command))) return;
  const { studies } = await (await fetch("/api/v1/studies")).json();
  const begun = studies.find((study) => study.instrument === instrument);
  if (begun) location.assign(`/studies/${encodeURIComponent(begun.study)}`);
});

let asking = false;
let again = false;

/** Takes the study anew from the daemon; only when it moved is anything replaced. */
async function refresh() {
  const shown = document.getElementById("study");
  if (!shown) return;
  again = asking;
  if (asking) return;
  asking = true;
  try {
    const text = await (await fetch(location.href)).text();
    const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("study");
    if (fresh && fresh.dataset.revision !== shown.dataset.revision) shown.replaceWith(document.importNode(fresh, true));
  } catch {
    tell("the bench program does not answer; what is shown may be old");
  } finally {
    asking = false;
  }
  if (again) await refresh();
}

if (document.getElementById("study")) {
  const stream = new EventSource("/api/v1/live");
  stream.addEventListener("state", refresh);
}
