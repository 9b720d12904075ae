// Answers to what a person did: problems the daemon reported, and what it says of what was done. They stay until they are dismissed or replaced.

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

/** Shows what the daemon says of something that was done; an older notice gives way. */
export function answered(sentences) {
  const place = byId("notices");
  place.replaceChildren(
    el(
      "div",
      { class: "notice", "data-level": "info", role: "status" },
      el("p", {}, sentences.map((sentence) => [told("span", {}, sentence), " "]).flat()),
      el("button", { type: "button", onclick: () => place.replaceChildren() }, t("dismiss")),
    ),
  );
}
