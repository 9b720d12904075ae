// Warnings that stand while their cause stands: each with what to do about it.
//
// In: the state's banners and whether the link to the daemon stands. Out: the strip under the heading.

import { byId, el, rebuild } from "./dom.js";
import { warningGlyph } from "./glyphs.js";
import { own, t, told } from "./language.js";

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
        el("p", {}, told("strong", {}, banner.text), " ", banner.remedy ? told("span", {}, banner.remedy) : null),
      ),
    ),
  );
}
