// What is read from three metres on a screen that was measured with a card, in each state of the bench.
//
// Expected: digits of 35 mm and labels of 17.5 mm at 3 m, targets of 20 mm, by the project's display requirements; heights are those
// of the ink in a picture of the screen, not of a style sheet. A screen of 24 inches (16:9) has 1920 pixels on 531 mm, 3.61 a
// millimetre (Pythagoras).

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import * as s from "../scenes.mjs";
import { atMockBench, OVER, SCENES, UNDER, onScale } from "../mock_bench.mjs";
import { violations } from "../support.mjs";

const PX_PER_MM = 3.61;
const at = (distance_m, px = PX_PER_MM, size = "1920x1080") => ({
  [`bench-screen-${size}`]: JSON.stringify({ device_px_per_mm: px, distance_m }),
});

/** Height of the ink inside an element's box, in pixels of the page, by a picture of it. */
async function inkHeight(page, selector, eye) {
  // Letters are rubbed out but for the element's own: its neighbours may reach into its box.
  const picture = (await page.locator(selector).first().screenshot()).toString("base64");
  return eye.evaluate(async (data) => {
    const image = new Image();
    image.src = `data:image/png;base64,${data}`;
    await image.decode();
    const canvas = Object.assign(document.createElement("canvas"), { width: image.width, height: image.height });
    const pen = canvas.getContext("2d");
    pen.drawImage(image, 0, 0);
    const { data: pixels } = pen.getImageData(0, 0, image.width, image.height);
    const differs = (row) => {
      const first = pixels.slice(0, 3);
      for (let x = 0; x < image.width; x += 1) {
        const from = (row * image.width + x) * 4;
        if (Math.abs(pixels[from] - first[0]) + Math.abs(pixels[from + 1] - first[1]) + Math.abs(pixels[from + 2] - first[2]) > 200) return true;
      }
      return false;
    };
    const rows = Array.from({ length: image.height }, (_, row) => row).filter(differs);
    return rows.length ? rows.at(-1) - rows[0] + 1 : 0;
  }, picture);
}

describe("read from afar", () => {
  const bench = atMockBench();
  const { on, show } = bench;
  const LABELS = ["#club-title", "#live-title", "#phase-word", ".line-now > :last-child", ".line-then > :last-child", ".places [data-on] span", ".facts dd", ".unfiled-why"];

  /** The height of a capital as this browser draws it, for each label that is shown, in millimetres. */
  const labels = (page, px) =>
    page.evaluate(
      ([selectors, px_per_mm]) =>
        selectors.flatMap((selector) =>
          [...document.querySelectorAll(selector)]
            .filter((node) => node.checkVisibility())
            .map((node) => {
              const style = getComputedStyle(node);
              const pen = document.createElement("canvas").getContext("2d");
              pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
              return [selector, pen.measureText("H").actualBoundingBoxAscent / px_per_mm];
            }),
        ),
      [LABELS, px],
    );

  test("ink_of_digits_and_labels_is_as_tall_as_it_must_be_at_three_metres", async () => {
    const eye = await (await bench.browser.newContext()).newPage();
    await on(
      onScale({}, { text: "208.0 g", deviation_text: "+8.0 g", deviation: 8, verdict: "over" }),
      async (page) => {
        // A digit alone: the sign is lower, and the unit smaller.
        await page.waitForFunction(() => document.getElementById("number").textContent === "+8.0");
        const digits_mm = (await inkHeight(page, "#number", eye)) / PX_PER_MM;
        assert.ok(digits_mm >= 35, `digits are ${digits_mm.toFixed(1)} mm`);
        const title_mm = (await inkHeight(page, "#phase-word", eye)) / PX_PER_MM;
        assert.ok(title_mm >= 17.5, `the phase is ${title_mm.toFixed(1)} mm`);
      },
      { kept: at(3) },
    );
    await eye.close();
  });

  test("every_state_answers_at_one_glance_above_the_fold", async () => {
    for (const language of ["en", "de"]) {
      await on(
        SCENES.held,
        async (page) => {
          for (const [name, state] of Object.entries(SCENES)) {
            await show(page, state);
            for (const [selector, mm] of await labels(page, PX_PER_MM)) assert.ok(mm >= 17.4, `${name}, ${language}: ${selector} is ${mm.toFixed(1)} mm`);
            const found = await page.evaluate(() => ({
              wide: document.documentElement.scrollWidth,
              // A banner or an advice may push what comes after what is read below the fold, never what is read.
              lowest: Math.max(
                ...["#club-title", "#phase-word", "#digits-box", "#track", ".line-now", "#call", ".unfiled-why"]
                  .flatMap((selector) => [...document.querySelectorAll(selector)])
                  .filter((node) => node.checkVisibility())
                  .map((node) => node.getBoundingClientRect().bottom),
              ),
            }));
            assert.ok(found.wide <= 1920, `${name}, ${language}: ${found.wide} wide`);
            assert.ok(found.lowest <= 1080, `${name}, ${language}: ends at ${found.lowest}`);
          }
        },
        { kept: at(3), language },
      );
    }
  });

  // Found by looking: the list of readings is below the fold, and a long doubt pushed its own choices there.
  const SCREENS = [
    { width: 1280, height: 800, kept: at(3, 5.94, "1280x800") },
    { width: 1920, height: 1080, kept: at(3) },
  ];
  /** Of what these selectors find, what is shown and not wholly in sight, and how many there are. */
  const outOfSight = (page, selector) =>
    page.evaluate((wanted) => {
      const inSight = (node) => {
        const { left, top, right, bottom } = node.getBoundingClientRect();
        const corners = [[left + 2, top + 2], [right - 2, bottom - 2]];
        return bottom <= innerHeight && corners.every(([x, y]) => node.contains(document.elementFromPoint(x, y)));
      };
      const nodes = [...document.querySelectorAll(wanted)].filter((node) => node.checkVisibility());
      return [nodes.length, nodes.filter((node) => !inSight(node)).map((node) => node.textContent)];
    }, selector);

  test("what_became_of_the_newest_reading_is_in_sight", async () => {
    for (const screen of SCREENS) {
      for (const language of ["en", "de"]) {
        await on(
          SCENES.held,
          async (page) => {
            const [part, within, not_filed] = language === "en" ? ["part", "within", "not filed"] : ["Teil", "innerhalb", "nicht abgelegt"];
            for (const name of ["held", "settling", "over", "crowded", "disturbed", "beam"]) {
              await show(page, SCENES[name]);
              assert.deepEqual(await outOfSight(page, "#fate"), [1, []], `${name} at ${screen.width}`);
              assert.match(await page.locator("#fate").textContent(), new RegExp(`203\\.10 g · ${part}.*${within}`));
            }
            // Where nothing lies it stands among the facts, with its verdict; a reference has a note alone.
            await show(page, SCENES.empty);
            assert.deepEqual([(await outOfSight(page, ".fact-verdict"))[0], await outOfSight(page, "#fate")], [1, [0, []]]);
            await show(page, s.scene({ captures: [s.capture("e8", "59:10", "200.00 g", null, { note: "a reference, not a part" }), ...s.captures()] }));
            assert.match(await page.locator("#fate").textContent(), language === "en" ? /a reference, not a part/ : /Referenz/);
            await show(page, SCENES["long doubt"]);
            assert.deepEqual((await outOfSight(page, ".unfiled-what"))[0], 1);
            assert.equal((await page.locator(".unfiled-what strong").textContent()).toLowerCase(), not_filed);
          },
          { ...screen, language },
        );
      }
    }
  });

  test("what_is_to_be_decided_is_in_sight_however_long_the_reason", async () => {
    for (const screen of SCREENS) {
      for (const language of ["en", "de"]) {
        for (const kept of [screen.kept, {}]) {
          await on(
            SCENES["long doubt"],
            async (page) => {
              for (const name of ["long doubt", "unfiled", "crowded and unfiled"]) {
                await show(page, SCENES[name]);
                await page.locator(".unfiled button").first().waitFor();
                const [count, hidden] = await outOfSight(page, ".unfiled button");
                assert.deepEqual([count, hidden], [3, []], `${name}, ${language} at ${screen.width}`);
              }
              // The rest of it is scrolled to, by the keyboard as well.
              await show(page, SCENES["long doubt"]);
              await page.waitForFunction(() =>
                [...document.querySelectorAll(".unfiled-text, .unfiled-why")].some((node) => node.scrollHeight <= node.clientHeight + 1 || node.tabIndex === 0),
              );
              assert.deepEqual(await violations(page), []);
            },
            { ...screen, kept, language },
          );
        }
      }
    }
  });

  test("half_the_distance_needs_half_the_height_and_a_tablet_is_laid_out_for_what_fits", async () => {
    await on(
      onScale({}, UNDER),
      async (page) => {
        const mm = Object.fromEntries(await labels(page, PX_PER_MM));
        assert.ok(mm["#phase-word"] >= 8.7 && mm["#phase-word"] < 17, `${mm["#phase-word"]}`);
      },
      { kept: at(1.5) },
    );
    // Ten inches at 1280 by 800 have 5.94 pixels a millimetre.
    await on(
      onScale({}, OVER),
      async (page) => {
        const high = await page.evaluate(() => document.querySelector(".line-now").getBoundingClientRect().bottom);
        assert.ok(high <= 800, `ends at ${high}`);
        const [[, mm]] = await labels(page, 5.94);
        assert.ok(mm > 8, `labels are ${mm} mm`);
      },
      { kept: at(3, 5.94, "1280x800"), width: 1280, height: 800 },
    );
  });

  test("targets_are_20_mm_and_nothing_is_inaccessible_by_day_and_night", async () => {
    for (const colorScheme of ["light", "dark"]) {
      await on(
        SCENES.unfiled,
        async (page) => {
          const small = await page.evaluate(
            (least) =>
              [...document.querySelectorAll("button, summary")]
                .filter((node) => node.checkVisibility())
                .map((node) => [node.textContent, node.offsetWidth, node.offsetHeight])
                .filter(([, wide, high]) => wide < least || high < least),
            Math.floor(20 * PX_PER_MM),
          );
          assert.deepEqual(small, []);
          for (const name of ["unfiled", "crowded", "over", "bending", "no order"]) {
            await show(page, SCENES[name]);
            assert.deepEqual(await violations(page), [], `${name}, ${colorScheme}`);
          }
        },
        { kept: at(3), colorScheme },
      );
    }
  });

  test("the_zoom_of_the_browser_changes_no_millimetre_and_long_names_stay_on_the_screen", () =>
    on(
      s.scene({
        club: s.club({ name: "fairway wood with adjustable sleeve, fourth of the second set, left", hand: "left" }),
        instruments: [s.scale({ name: "scale on the long bench by the window", phase: "held", progress: 1, readings: [s.headMass(UNDER)] }), s.beam(), s.gauge()],
      }),
      async (page) => {
        // At 200 % a pixel of the page is two of the screen.
        for (const [selector, mm] of await labels(page, PX_PER_MM / 2)) assert.ok(mm >= 8, `${selector} is ${mm.toFixed(1)} mm`);
        assert.match(await page.locator("#club-detail").textContent(), /left hand/);
        const wide = await page.evaluate(() => document.documentElement.scrollWidth);
        assert.ok(wide <= 960, `${wide} wide`);
        assert.deepEqual(await violations(page), []);
      },
      { kept: at(3), zoom: 2 },
    ));
});
