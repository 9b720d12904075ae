// Warnings that stand while their cause stands: each with what to do about it.
//
// In: the state's banners and whether the link to the daemon stands. Out: the strip under the heading.

import { byId, el, rebuild } from "./dom.js";
import { warningGlyph } from "./glyphs.js";

const NO_LINK = {
  level: "error",
  text: "no connection to the bench program: what you see is old",
  remedy: "readings are not shown; the page tries again every second and then shows everything afresh",
};

/** Draws the banners; a lost link comes first. */
export function drawBanners(view, link) {
  const place = byId("banners");
  const banners = [...(link === "lost" ? [NO_LINK] : []), ...(view.state?.banners ?? [])];
  place.hidden = banners.length === 0;
  rebuild(place, banners, () =>
    banners.map((banner) =>
      el(
        "div",
        { class: "banner", "data-level": banner.level, role: banner.level === "error" ? "alert" : "status" },
        warningGlyph(),
        el("p", {}, el("strong", {}, banner.text), banner.remedy ? el("span", {}, banner.remedy) : null),
      ),
    ),
  );
}
