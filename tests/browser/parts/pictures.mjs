// Pictures of the bench in each state, for people to look at: every size, by day and night, in both languages and as read from afar.
//
// Written where BENCHSCRIBE_ARTEFACTS is set. A picture is no proof; what it must hold is tested beside it.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { mkdir } from "node:fs/promises";
import { join } from "node:path";
import { atMockBench, SCENES } from "../mock_bench.mjs";

const folder = process.env.BENCHSCRIBE_ARTEFACTS;
const SIZES = [
  [390, 844],
  [1280, 800],
  [1920, 1080],
];
// A monitor of 24 inches and a tablet of ten, three metres and one metre away.
const MEASURED = {
  "bench-screen-1920x1080": JSON.stringify({ device_px_per_mm: 3.61, distance_m: 3 }),
  "bench-screen-1280x800": JSON.stringify({ device_px_per_mm: 5.94, distance_m: 1 }),
};

describe("pictures", { skip: folder ? false : "BENCHSCRIBE_ARTEFACTS is not set" }, () => {
  const { on, show } = atMockBench();
  const takes = [
    { what: "", options: {} },
    { what: "-night", options: { colorScheme: "dark" } },
    { what: "-afar", options: { kept: MEASURED } },
    { what: "-afar-night-de", options: { kept: MEASURED, colorScheme: "dark", language: "de" } },
    { what: "-ounces", options: { kept: { "bench-masses": "oz", "bench-lengths": "mm" } } },
  ];
  for (const { what, options } of takes) {
    test(`each_state${what}`, async () => {
      await mkdir(join(folder, "states"), { recursive: true });
      for (const [width, height] of SIZES) {
        await on(
          SCENES.held,
          async (page) => {
            for (const [name, state] of Object.entries(SCENES)) {
              await show(page, state);
              const path = join(folder, "states", `${name.replaceAll(" ", "-")}${what}-${width}x${height}.png`);
              await page.screenshot({ path, fullPage: width === 390 });
              // Five answers have their places: club, what comes next, settled or not, how far and which way, what to do.
              const places = ["#club-title", "#phase-word", "#act"];
              for (const place of places) assert.ok((await page.locator(place).count()) === 1, place);
            }
          },
          { width, height, ...options },
        );
      }
    });
  }
});
