// Draws the deviation scale: three places for the verdict, a track with band, target and needle, and its marks.
//
// In: a reading and its freshness. Out: the nodes of the template, moved by custom properties.

import { byId, el, rebuild, setAttribute, setProperty, setText } from "./dom.js";
import { verdictGlyph } from "./glyphs.js";
import { geometry } from "./scale_geometry.js";
import { plain, t } from "./language.js";
import { units } from "./preferences.js";
import { limitText } from "./quantities.js";
import { splitUnit, targetOf, unitWord } from "./words.js";

const PLACES = ["under", "within", "over"];

/** Shows the scale for a reading that has a target or limits; hides it for any other. */
export function drawDeviation(reading, fresh) {
  const scale = byId("deviation");
  const live = fresh !== "gone";
  const shape = reading ? geometry({ ...reading, value: live ? reading.value : null }) : null;
  scale.hidden = shape === null;
  if (shape === null) return;

  const verdict = live && PLACES.includes(reading.verdict) ? reading.verdict : null;
  setAttribute(scale, "data-verdict", verdict ?? "none");
  setAttribute(scale, "data-fresh", fresh);
  setAttribute(scale, "data-marginal", Boolean(verdict && reading.marginal));
  rebuild(byId("places"), [verdict, Boolean(reading.marginal)], () =>
    PLACES.map((place) =>
      el(
        "li",
        { "data-place": place, "data-on": place === verdict },
        verdictGlyph(place),
        el("span", {}, plain(place)),
        place === verdict && reading.marginal ? el("small", {}, t("near_limit")) : null,
      ),
    ),
  );

  const track = byId("track");
  setAttribute(track, "data-band", shape.band !== null);
  setProperty(track, "--band-from", shape.band?.[0] ?? 0);
  setProperty(track, "--band-to", shape.band?.[1] ?? 0);
  setAttribute(track, "data-target", shape.target !== null);
  setProperty(track, "--target", shape.target ?? 0);
  setAttribute(track, "data-off", shape.off);
  setAttribute(track, "data-needle", shape.needle !== null);
  setProperty(track, "--needle", (shape.needle ?? 0).toFixed(4));
  setAttribute(track, "data-spread", shape.spread !== null);
  setProperty(track, "--spread-from", (shape.spread?.[0] ?? 0).toFixed(4));
  setProperty(track, "--spread-to", (shape.spread?.[1] ?? 0).toFixed(4));

  const [left, middle, right] = byId("marks").children;
  const texts = limitTexts(reading);
  setText(left, texts.lower);
  setText(middle, reading.target_text ? `${t("target")} ${targetOf(reading)}` : "");
  setText(right, texts.upper);
}

// The limits as the daemon words them; else as distances from the target, and only where the bench shows the very
// unit of the numbers (a length in inches, kept in millimetres, gets no mark rather than one in another unit).
function limitTexts(reading) {
  const chosen = [reading.lower, reading.upper].map((limit) => limitText(reading, limit, units()));
  if (chosen.some((text) => text !== null)) return { lower: chosen[0] ?? "", upper: chosen[1] ?? "" };
  if (reading.lower_text || reading.upper_text) return { lower: reading.lower_text, upper: reading.upper_text };
  const unit = unitWord(reading.unit);
  const shown = splitUnit(reading.deviation_text ?? reading.text ?? "").unit;
  if (typeof reading.target !== "number" || shown !== unit) return { lower: "", upper: "" };
  const gap = unit === "°" ? "" : " ";
  const text = (limit, sign) =>
    typeof limit === "number" ? `${sign}${Number(Math.abs(limit - reading.target).toPrecision(3))}${gap}${unit}` : "";
  return { lower: text(reading.lower, "−"), upper: text(reading.upper, "+") };
}
