// Answers to what a person did: problems the daemon reported. They stay until they are dismissed or replaced.

import { byId, el } from "./dom.js";
import { warningGlyph } from "./glyphs.js";
import { t, told } from "./language.js";

/** Shows one notice, in words of the page (`own`) or of the daemon; an older one gives way. */
export function notice(title, detail) {
  const place = byId("notices");
  place.replaceChildren(
    el(
      "div",
      { class: "notice" },
      warningGlyph(),
      el("p", {}, told("strong", {}, title), " ", told("span", {}, detail)),
      el("button", { type: "button", onclick: () => place.replaceChildren() }, t("dismiss")),
    ),
  );
}
