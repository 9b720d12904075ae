// The colours of the display, by day and by night, as three kinds of colour vision see them.
//
// Expected: contrast of 7:1 by WCAG 2.2, criterion 1.4.6, with its relative luminance. Colour vision by the matrices of Machado,
// Oliveira and Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE Transactions on
// Visualization and Computer Graphics 15(6), 2009, severity 1.0, applied to linear RGB. Distances in CIELAB (CIE 1976, D65): ten is
// several times what is just noticed (about 2.3, from memory). A verdict never rests on its colour: it has a sign, a word and a place.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";

const css = await readFile(new URL("../../../src/output/web/assets/tokens.css", import.meta.url), "utf8");
const tokens = Object.fromEntries(
  [...css.matchAll(/--([\w-]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)/g)].map(([, name, day, night]) => [name, { day, night }]),
);

const VISIONS = {
  normal: [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
  ],
  protanopia: [
    [0.152286, 1.052583, -0.204868],
    [0.114503, 0.786281, 0.099216],
    [-0.003882, -0.048116, 1.051998],
  ],
  deuteranopia: [
    [0.367322, 0.860646, -0.227968],
    [0.280085, 0.672501, 0.047413],
    [-0.01182, 0.04294, 0.968881],
  ],
  tritanopia: [
    [1.255528, -0.076749, -0.178779],
    [-0.078411, 0.930809, 0.147602],
    [0.004733, 0.691367, 0.3039],
  ],
};

const linear = (hex) =>
  [1, 3, 5].map((from) => parseInt(hex.slice(from, from + 2), 16) / 255).map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
const seen = (hex, vision) => {
  const rgb = linear(hex);
  return VISIONS[vision].map((row) => Math.min(1, Math.max(0, row.reduce((sum, weight, index) => sum + weight * rgb[index], 0))));
};
const luminance = ([r, g, b]) => 0.2126 * r + 0.7152 * g + 0.0722 * b;
const contrast = (a, b, vision) => {
  const [high, low] = [luminance(seen(a, vision)), luminance(seen(b, vision))].sort((x, y) => y - x);
  return (high + 0.05) / (low + 0.05);
};
const lab = ([r, g, b]) => {
  const f = (t) => (t > 0.008856 ? Math.cbrt(t) : 7.787 * t + 16 / 116);
  const [x, y, z] = [f((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.95047), f(luminance([r, g, b])), f((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.08883)];
  return [116 * y - 16, 500 * (x - y), 200 * (y - z)];
};
const distance = (a, b, vision) => {
  const [from, to] = [lab(seen(a, vision)), lab(seen(b, vision))];
  return Math.hypot(...from.map((value, index) => value - to[index]));
};

// What stands on what: text first.
const PAIRS = [
  ...["ink", "muted", "aged", "within", "under", "over", "alarm"].flatMap((text) => ["panel", "ground"].map((ground) => [text, ground])),
  ...["within", "under", "over"].map((ground) => ["on-verdict", ground]),
  ["ink", "raised"],
  ["ink", "band"],
  ["on-alarm", "alarm"],
  ["on-warn", "warn"],
  ["on-act", "act"],
];

describe("colours", () => {
  for (const palette of ["day", "night"]) {
    for (const vision of Object.keys(VISIONS)) {
      test(`text_has_seven_to_one_by_${palette}_with_${vision}`, () => {
        for (const [text, ground] of PAIRS) {
          const found = contrast(tokens[text][palette], tokens[ground][palette], vision);
          assert.ok(found >= 7, `${text} on ${ground}: ${found.toFixed(2)}`);
        }
      });
      test(`verdicts_are_told_apart_by_${palette}_with_${vision}`, () => {
        for (const [a, b] of [
          ["within", "under"],
          ["within", "over"],
          ["under", "over"],
        ]) {
          const found = distance(tokens[a][palette], tokens[b][palette], vision);
          assert.ok(found >= 10, `${a} and ${b}: ${found.toFixed(1)}`);
        }
      });
    }
  }
});
