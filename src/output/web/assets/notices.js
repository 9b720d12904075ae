// Answers to what a person did: problems the daemon reported. They stay until they are dismissed or replaced.

import { byId, el } from "./dom.js";
import { warningGlyph } from "./glyphs.js";

/** Shows one notice; an older one gives way. */
export function notice(title, detail) {
  const place = byId("notices");
  place.replaceChildren(
    el(
      "div",
      { class: "notice" },
      warningGlyph(),
      el("p", {}, el("strong", {}, title), " ", detail),
      el("button", { type: "button", onclick: () => place.replaceChildren() }, "dismiss"),
    ),
  );
}
