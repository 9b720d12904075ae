// Sends commands to the daemon.
//
// In: a command object (`{"command": "open_order", ...}`). Out: true when it was done, with what the daemon says of it shown;
// false when it was refused, with the daemon's own words shown as a notice. A 401 asks for the bench token once; it is kept for this tab only.

import { askToken } from "./asking.js";
import { own, t } from "./language.js";
import { answered, notice } from "./notices.js";

const TOKEN_KEY = "bench-token";
// Seen from this file, so that pages at any depth reach it.
const COMMANDS = new URL("../api/v1/command", import.meta.url);

/** Sends one command; never throws. */
export async function send(command) {
  const answer = await post(command);
  if (answer?.status === 401) {
    notice(own(t("not_done")), own(t("token.wanted")));
    return false;
  }
  if (answer === null) {
    notice(own(t("not_done")), own(t("no_answer")));
    return false;
  }
  const body = await answer.json().catch(() => ({}));
  if (answer.ok && body.ok !== false) {
    if (body.said?.length) answered(body.said);
    return true;
  }
  notice(body.title ?? own(`${t("not_done")} (${answer.status})`), body.detail ?? body.error ?? own(t("no_reason")));
  return false;
}

/** Sends one command and gives the daemon's answer as it came, after asking for the token as often as it is wrong; null without an answer. */
export async function post(command) {
  let answer = await postOnce(command);
  while (answer?.status === 401) {
    sessionStorage.removeItem(TOKEN_KEY);
    const token = await askToken();
    if (token === null) return answer;
    sessionStorage.setItem(TOKEN_KEY, token);
    answer = await postOnce(command);
  }
  return answer;
}

async function postOnce(command) {
  const headers = { "content-type": "application/json" };
  const token = sessionStorage.getItem(TOKEN_KEY);
  if (token) headers.authorization = `Bearer ${token}`;
  try {
    return await fetch(COMMANDS, { method: "POST", headers, body: JSON.stringify(command) });
  } catch {
    return null;
  }
}

/** A button that sends its command once per press: it is disabled until the answer is there. */
export function commandListener(command) {
  return async (event) => {
    const button = event.currentTarget;
    button.disabled = true;
    try {
      await send(command());
    } finally {
      button.disabled = false;
    }
  };
}
