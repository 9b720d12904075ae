// The script that shows values in the units of a display, held to the same cases as the daemon's own (`output::web::units`).

import { test } from "node:test";
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { deviationText, inUnits, numbersOf, targetText, valueText } from "../../src/output/web/assets/quantities.js";

test("units_are_shown_as_by_the_daemon", async () => {
  const words = { by_default: (target) => `${target}, by default` };
  const { readings, numbers, sentences } = JSON.parse(await readFile(new URL("../units.json", import.meta.url), "utf8"));
  for (const { reading, units, value, deviation, target } of readings) {
    assert.deepEqual([valueText(reading, units), deviationText(reading, units), targetText(reading, units, words)], [value, deviation, target], JSON.stringify(reading));
  }
  for (const { units, characteristic, unit, value, decimals, text, in: shown } of numbers) {
    const { unit: named, write } = numbersOf({ characteristic, unit }, units);
    assert.deepEqual([write(value, decimals), named], [text, shown], `${value} ${unit}`);
  }
  for (const { text, units, shown } of sentences) assert.equal(inUnits(text, units), shown);
});
