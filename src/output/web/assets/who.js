// Who is at the bench: in that name everything is kept. Pressed, it asks; so a bench without a scanner knows a name as well.
//
// In: the view. Out: the text of one button. Quiet either way: work goes on without a name.

import { byId, setText } from "./dom.js";
import { t } from "./language.js";

/** Draws it; until the bench has spoken, what the daemon wrote into the page stands. */
export function drawWho(view) {
  if (view.state === null) return;
  const { operator } = view.state;
  setText(byId("who-button"), operator ? t("who.here", { name: operator }) : t("who.nobody"));
}
