// Warnings that stand while their cause stands: each with what to do about it.
//
// In: the state's banners and whether the link to the daemon stands. Out: the strip under the heading.

import { byId, el, rebuild } from "./dom.js";
import { warningGlyph } from "./glyphs.js";
import { own, say, t, told } from "./language.js";

// What is wrong and its remedy. Some have words apart; a notice is one sentence and has its words whole.
function words({ text, remedy }) {
  if (!remedy) return [text];
  const apart = [say(text), say(remedy)];
  const { text: whole, lang } = say(typeof text === "string" ? `${text}: ${remedy}` : text);
  const at = whole.indexOf(": ");
  return apart.every((half) => half.lang === null) || lang !== null || at < 0 ? apart : [own(whole.slice(0, at)), own(whole.slice(at + 2))];
}

/** Draws the banners; a lost link comes first. */
export function drawBanners(view, link) {
  const place = byId("banners");
  const banners = [...(link === "lost" ? [{ level: "error", text: own(t("link.lost")), remedy: own(t("link.remedy")) }] : []), ...(view.state?.banners ?? [])];
  place.hidden = banners.length === 0;
  rebuild(place, banners, () =>
    banners.map((banner) =>
      el(
        "div",
        { class: "banner", "data-level": banner.level, role: banner.level === "error" ? "alert" : "status" },
        banner.level === "info" ? null : warningGlyph(),
        el("p", {}, words(banner).flatMap((text, at) => [told(at === 0 ? "strong" : "span", {}, text), " "])),
      ),
    ),
  );
}
