// Whether the page can be seen, reached and pressed.
//
// Expected: digits of 160 px, primary labels of 40 px and targets of 48 px by the project's display requirements (WCAG 2.5.8 asks 24 px);
// contrast of 7:1 by WCAG 2.2 criterion 1.4.6, as axe-core measures it; a visible focus by criterion 2.4.7.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { atMockBench, SCENES } from "../mock_bench.mjs";
import * as s from "../scenes.mjs";
import { violations } from "../support.mjs";

describe("how the page looks", () => {
  const bench = atMockBench();
  const { on, show } = bench;

  test("digits_and_primary_labels_can_be_read_from_three_metres", () =>
    on(SCENES.held, async (page) => {
      for (const name of ["settling", "held", "over", "disturbed", "beam", "unfiled", "crowded", "crowded and unfiled"]) {
        await show(page, SCENES[name]);
        const height_px = await page.evaluate(() => {
          // The ink of a nought, as the browser draws it: not the size that the style sheet asks for.
          const style = getComputedStyle(document.getElementById("digits"));
          const pen = document.createElement("canvas").getContext("2d");
          pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
          const ink = pen.measureText("0");
          return ink.actualBoundingBoxAscent + ink.actualBoundingBoxDescent;
        });
        assert.ok(height_px >= 160, `${name}: digits are ${height_px.toFixed(0)} px tall`);
        const labels = await page.evaluate(() =>
          ["#live-title", "#phase-word", "#club-title", ".line-now > :last-child", ".places [data-on] span", ".unfiled-why"].flatMap(
            (selector) =>
              [...document.querySelectorAll(selector)]
                .filter((node) => node.checkVisibility())
                .map((node) => [selector, parseFloat(getComputedStyle(node).fontSize)]),
          ),
        );
        for (const [selector, size_px] of labels) assert.ok(size_px >= 40, `${name}: ${selector} is ${size_px} px`);
      }
    }));

  // On a tablet with a step, its cautions and a cut above it the list of values had three rows.
  test("values_stay_in_sight_below_a_step_with_cautions_and_a_cut", async () => {
    for (const [name, language, least, width, height] of [
      ["about to cut", "en", 6, 1280, 800],
      ["about to cut", "de", 4, 1280, 800],
      ["crowded", "en", 6, 1280, 800],
      ["crowded and unfiled", "de", 6, 1280, 800],
      ["crowded and unfiled", "de", 4, 1920, 1080],
    ]) {
      await on(
        SCENES[name],
        async (page) => {
          await page.waitForFunction(() => document.querySelector("#sheet tbody tr"));
          const [rows, over, torn] = await page.evaluate(() => {
            const place = document.getElementById("sheet");
            const room = place.getBoundingClientRect();
            const top = place.querySelector("thead").getBoundingClientRect().bottom;
            // A name of one word stands on one line.
            const torn = () =>
              [...place.querySelectorAll("tbody th")]
                .map((cell) => cell.firstChild)
                .filter((name) => !/[ -]/.test(name.textContent.trim()))
                .filter((name) => {
                  const range = document.createRange();
                  range.selectNodeContents(name);
                  return range.getClientRects().length > 1;
                })
                .map((name) => name.textContent);
            const boxes = [...place.querySelectorAll("tbody tr")].map((row) => row.getBoundingClientRect());
            return [boxes.filter((box) => box.top >= top - 1 && box.bottom <= room.bottom + 1).length, place.scrollWidth - place.clientWidth, torn()];
          });
          assert.ok(rows >= least, `${name}, ${language}: ${rows} rows in sight`);
          assert.equal(over, 0, `${name}, ${language}: ${over} px are cut off`);
          assert.deepEqual(torn, [], `${name}, ${language}: names torn apart`);
        },
        { width, height, language },
      );
    }
  });

  // With buttons for a finger no row of the list was in sight.
  test("the_newest_reading_is_in_sight_without_scrolling_in_every_state", async () => {
    const values = [["total_mass", "318.4 g", "± 0.1 g"], ["balance_point", "1091.2 mm", "± 0.4 mm"], ["swing_weight", "D2.3", "± 0.06 points"]].map(([what, text, u_text]) => ({ what, text, u_text }));
    const longest = s.capture("e7", "59:30", "318.4 g · 791.2 mm · D2.3", "swing_weight", { values, instrument: "beam" });
    const named = (state) => ({
      ...state,
      captures: state.captures.length > 0 && state.captures[0].event !== "e9" ? [longest, ...state.captures] : state.captures,
      instruments: state.instruments.map((one) => ({ ...one, name: `${one.name} on the long bench by the window` })),
      club: state.club && { ...state.club, name: "fairway wood with adjustable sleeve, fourth of the second set" },
      banners: s.bannerSet(),
    });
    for (const [width, height, finger, language] of [
      [1280, 800, true, "de"],
      [1280, 800, false, "de"],
      [1280, 800, true, "en"],
      [1920, 1080, true, "de"],
      [1920, 1080, false, "en"],
    ]) {
      await on(
        SCENES.held,
        async (page) => {
          for (const [name, state] of Object.entries(SCENES)) {
            await show(page, named(state));
            const { list, row, page_height } = await page.evaluate(() => {
              const box = (node) => (({ top, bottom }) => ({ top, bottom }))(node.getBoundingClientRect());
              const first = document.querySelector("#captures > li");
              const seen = first.querySelector(".capture-text") ?? first;
              return { list: box(document.getElementById("captures")), row: box(seen), page_height: innerHeight };
            });
            const at = `${name}, ${width}${finger ? " with a finger" : ""}, ${language}: the values from ${row.top} to ${row.bottom}, the list from ${list.top} to ${list.bottom}`;
            assert.ok(row.top >= list.top - 1 && row.bottom <= Math.min(list.bottom, page_height) + 1, at);
          }
        },
        { width, height, finger, language },
      );
    }
  });

  test("the_page_never_scrolls_sideways_and_the_digits_stay_in_their_panel", async () => {
    for (const [width, height] of [
      [1920, 1080],
      [1280, 800],
      [800, 1280],
      [390, 844],
    ]) {
      await on(
        SCENES.held,
        async (page) => {
          for (const [name, state] of Object.entries(SCENES)) {
            await show(page, state);
            const [page_width, digits, box] = await page.evaluate(() => [
              document.documentElement.scrollWidth,
              document.getElementById("digits").getBoundingClientRect().right,
              document.getElementById("digits-box").getBoundingClientRect().right,
            ]);
            assert.ok(page_width <= width, `${name} at ${width}: the page is ${page_width} wide`);
            assert.ok(digits <= box + 1, `${name} at ${width}: digits end at ${digits}, their panel at ${box}`);
          }
        },
        { width, height },
      );
    }
  });

  test("what_to_do_is_seen_whole_without_scrolling", async () => {
    for (const [width, height] of [
      [1920, 1080],
      [1280, 800],
    ]) {
      await on(
        SCENES.held,
        async (page) => {
          for (const [name, state] of Object.entries(SCENES)) {
            await show(page, state);
            const [content, room, bottom] = await page.evaluate(() => {
              const act = document.getElementById("act");
              return [act.scrollHeight, act.clientHeight, act.getBoundingClientRect().bottom];
            });
            assert.ok(content <= room + 1, `${name} at ${width}: ${content} px in ${room}`);
            assert.ok(bottom <= height, `${name} at ${width}: ends at ${bottom}`);
          }
        },
        { width, height },
      );
    }
  });

  test("everything_can_be_reached_by_keyboard_and_the_focus_is_seen", () =>
    on(SCENES.unfiled, async (page) => {
      const wanted = await page.evaluate(
        () => [...document.querySelectorAll("button, a[href]")].filter((node) => node.checkVisibility() && !node.disabled).length,
      );
      const reached = new Set();
      for (let press = 0; press < wanted + 12; press += 1) {
        await page.keyboard.press("Tab");
        const here = await page.evaluate(() => {
          const node = document.activeElement;
          const style = getComputedStyle(node);
          return {
            name: `${node.tagName} ${node.id} ${node.dataset.focus ?? ""} ${node.textContent.slice(0, 30)}`,
            control: node.matches("button, a[href]"),
            outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 3,
            body: node === document.body,
          };
        });
        if (here.body) continue;
        assert.ok(here.outline, `no visible focus on ${here.name}`);
        if (here.control) reached.add(here.name);
      }
      assert.equal(reached.size, wanted, [...reached].join("\n"));
    }));

  test("targets_are_large_enough_for_a_gloved_finger", async () => {
    for (const [width, height] of [
      [1920, 1080],
      [1280, 800],
      [390, 844],
    ]) {
      await on(
        SCENES.unfiled,
        async (page) => {
          const small = async () =>
            page.evaluate(() =>
              [...document.querySelectorAll("button, input, select")]
                .filter((node) => node.checkVisibility())
                .map((node) => [node.textContent, node.offsetWidth, node.offsetHeight])
                .filter(([, wide, high]) => wide < 48 || high < 48),
            );
          assert.deepEqual(await small(), [], `at ${width}`);
          await page.locator("#enter-button").click();
          await page.locator("dialog[open]").waitFor();
          assert.deepEqual(await small(), [], `dialog at ${width}`);
        },
        { width, height },
      );
    }
  });

  test("day_and_night_follow_the_system_until_someone_chooses", async () => {
    const ground = (page) => page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    let day;
    await on(SCENES.held, async (page) => {
      day = await ground(page);
      await page.locator("#palette-button").click();
      await page.waitForFunction((before) => getComputedStyle(document.body).backgroundColor !== before, day);
      const night = await ground(page);
      await page.reload();
      await page.waitForFunction((wanted) => getComputedStyle(document.body).backgroundColor === wanted, night);
    });
    await on(SCENES.held, async (page) => assert.notEqual(await ground(page), day), { colorScheme: "dark" });
  });

  for (const colorScheme of ["light", "dark"]) {
    test(`no_accessibility_violation_in_any_scene_${colorScheme}`, () =>
      on(
        SCENES.empty,
        async (page) => {
          for (const [name, state] of Object.entries(SCENES)) {
            await show(page, state);
            assert.deepEqual(await violations(page), [], name);
          }
          await show(page, SCENES.held);
          for (const button of ["#void-button", "#enter-button", "#orders-button"]) {
            await page.locator(button).click();
            await page.locator("dialog[open]").waitFor();
            assert.deepEqual(await violations(page), [], `dialog of ${button}`);
            await page.keyboard.press("Escape");
            await page.locator("dialog").waitFor({ state: "detached" });
          }
        },
        { colorScheme },
      ));
  }
});
