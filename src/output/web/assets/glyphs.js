// The page's own signs, drawn as SVG.
//
// In: a verdict or a phase (with its progress). Out: an SVG node. A verdict's sign is a small picture of the
// deviation scale: two posts for the limits and a mark left of, between or right of them.

import { svg } from "./dom.js";

const POSTS = "M10 1.5v17M24 1.5v17";
const MARKS = {
  under: "M7.6 2v16L0 10z",
  within: "M17 6.2a3.8 3.8 0 1 0 .01 0z",
  over: "M26.4 2v16l7.6-8z",
};

/** Sign of a verdict; `no_target` is a single stroke. */
export function verdictGlyph(verdict) {
  const known = MARKS[verdict];
  return svg(
    "svg",
    { class: "glyph verdict-glyph", viewBox: "0 0 34 20", "aria-hidden": "true" },
    known
      ? [svg("path", { class: "posts", d: POSTS }), svg("path", { class: "mark", d: known })]
      : svg("path", { class: "posts", d: "M11 10h12" }),
  );
}

// Circumference of the progress ring of radius 8, by which its dash is cut.
const RING = 2 * Math.PI * 8;

/** Sign of a phase. Settling fills its ring with the progress; settled is a full disc. */
export function phaseGlyph(phase, progress) {
  const ring = svg("circle", { class: "ring", cx: 12, cy: 12, r: 8 });
  const inner = {
    settling: () => [
      svg("circle", {
        class: "arc",
        cx: 12,
        cy: 12,
        r: 8,
        transform: "rotate(-90 12 12)",
        "stroke-dasharray": `${(RING * Math.min(1, Math.max(0, progress ?? 0))).toFixed(1)} 99`,
      }),
    ],
    held: () => [svg("circle", { class: "solid", cx: 12, cy: 12, r: 8 }), svg("path", { class: "tick", d: "M8 12l3 3 5-6" })],
    disturbed: () => [svg("path", { class: "stroke", d: "M6.5 12q1.8-4 3.7 0t3.7 0 3.6 0" })],
    unknown: () => [svg("path", { class: "stroke", d: "M9.7 10q0-2.3 2.3-2.3t2.3 2q0 1.3-2.3 2.6M12 15.2v1" })],
    lost: () => [svg("path", { class: "stroke", d: "M6.5 17.5l11-11" })],
  }[phase];
  return svg("svg", { class: "glyph phase-glyph", viewBox: "0 0 24 24", "aria-hidden": "true" }, ring, inner ? inner() : null);
}

/** Sign of a warning: an open triangle with a stroke. */
export function warningGlyph() {
  return svg(
    "svg",
    { class: "glyph warning-glyph", viewBox: "0 0 24 24", "aria-hidden": "true" },
    svg("path", { class: "stroke", d: "M12 3L22 21H2zM12 10v5M12 17.5v1" }),
  );
}
