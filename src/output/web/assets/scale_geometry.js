// Where things stand on the deviation scale. Pure numbers, no DOM.
//
// In: value, target, limits and standard uncertainty of a reading, all in one unit.
// Out: places from 0 (left edge) to 1 (right edge). The tolerance band always fills the middle third, so
// that under is left, within is the middle and over is right, whatever the tolerance; the scale is linear.
// A place outside 0..1 is parked at the edge and marked as off the scale.

const BAND_FROM = 1 / 3;
const BAND_TO = 2 / 3;

/** Geometry of a reading, or null where there is nothing to draw (no target and no limit). */
export function geometry({ value, target, lower, upper, u }) {
  const limits = span({ target, lower, upper });
  if (limits === null) return null;
  const place = (number) => BAND_FROM + ((number - limits.from) / (limits.to - limits.from)) * (BAND_TO - BAND_FROM);
  const inside = (number) => Math.min(1, Math.max(0, number));
  const result = {
    band: [number(lower) ? BAND_FROM : 0, number(upper) ? BAND_TO : 1],
    target: number(target) ? inside(place(target)) : null,
    needle: null,
    off: null,
    spread: null,
  };
  if (!number(lower) && !number(upper)) result.band = null;
  if (number(value)) {
    const at = place(value);
    result.needle = Math.min(0.985, Math.max(0.015, at));
    result.off = at < 0 ? "left" : at > 1 ? "right" : null;
    if (number(u) && u > 0 && result.off === null) result.spread = [inside(place(value - 2 * u)), inside(place(value + 2 * u))];
  }
  return result;
}

const number = (candidate) => typeof candidate === "number" && Number.isFinite(candidate);

// The interval that fills the middle third. A limit on one side only is mirrored about the target; without
// any limit, or where the target is the limit, two hundredths of the number stand in for a tolerance.
function span({ target, lower, upper }) {
  if (number(lower) && number(upper) && upper > lower) return { from: lower, to: upper };
  const centre = number(target) ? target : number(upper) ? upper : lower;
  if (!number(centre)) return null;
  const limit = number(upper) ? upper : number(lower) ? lower : centre;
  const half = Math.abs(limit - centre) || Math.abs(centre) * 0.02 || 1;
  if (number(upper) && !number(lower)) return { from: upper - 2 * half, to: upper };
  if (number(lower) && !number(upper)) return { from: lower, to: lower + 2 * half };
  return { from: centre - half, to: centre + half };
}
