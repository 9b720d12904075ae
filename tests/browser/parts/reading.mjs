// What the page shows of a bench: phases, verdicts, age, beat, reconnecting.
//
// Expected: 1 s grey and 3 s dashes by the project's display requirements; places on the scale by hand, the sum beside the check.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import * as s from "../scenes.mjs";
import { atMockBench, OVER, SCENES, UNDER, onScale } from "../mock_bench.mjs";
import { startMock } from "../mock.mjs";
import { openPage, untilAttribute, untilText } from "../support.mjs";

describe("what the page shows", () => {
  const bench = atMockBench();
  const { on, show } = bench;

  test("each_phase_has_its_word_and_sign", () =>
    on(SCENES.empty, async (page) => {
      for (const [phase, word] of Object.entries({
        settling: "settling",
        held: "settled",
        disturbed: "disturbed",
        unknown: "not sure",
        empty: "empty",
      })) {
        bench.mock.setInstruments([s.scale({ phase, progress: 0.4, readings: phase === "empty" ? [] : [s.headMass()] })]);
        await untilAttribute(page, "#live", "data-phase", phase);
        await untilText(page, "#phase-word", word);
        assert.equal(await page.locator("#phase-glyph svg").count(), 1);
      }
      bench.mock.setInstruments([s.scale({ phase: "lost", connected: false, readings: [s.headMass()] })]);
      await untilText(page, "#phase-word", "not connected");
      assert.equal(await page.locator("#number").textContent(), "– – –");
    }));

  test("settling_shows_its_progress_and_the_message", () =>
    on(SCENES.settling, async (page) => {
      await untilAttribute(page, "#settle", "aria-valuenow", "40");
      await untilText(page, "#act", "bench moving: let go and wait");
      const [whole, part] = await page.evaluate(() => [
        document.getElementById("settle").offsetWidth,
        document.querySelector("#settle i").offsetWidth,
      ]);
      assert.ok(Math.abs(part / whole - 0.4) < 0.01, `${part} of ${whole}`);
    }));

  test("a_verdict_is_a_place_a_sign_and_a_word", () =>
    on(SCENES.held, async (page) => {
      for (const [verdict, reading, third] of [
        ["under", UNDER, 0],
        ["within", {}, 1],
        ["over", OVER, 2],
      ]) {
        await show(page, onScale({}, reading));
        await untilAttribute(page, "#deviation", "data-verdict", verdict);
        const seen = await page.evaluate(() => {
          const track = document.getElementById("track").getBoundingClientRect();
          const middle = (node) => {
            const box = node.getBoundingClientRect();
            return (box.left + box.width / 2 - track.left) / track.width;
          };
          const lit = [...document.querySelectorAll("#places [data-on]")];
          return {
            count: lit.length,
            word: lit[0].querySelector("span").textContent,
            sign: lit[0].querySelectorAll("svg .mark").length,
            place: middle(lit[0]),
            needle: middle(document.querySelector("#track .needle")),
            background: getComputedStyle(lit[0]).backgroundColor,
          };
        });
        assert.equal(seen.count, 1);
        assert.equal(seen.word, verdict);
        assert.equal(seen.sign, 1);
        assert.equal(Math.floor(seen.place * 3), third);
        assert.equal(Math.floor(seen.needle * 3), third, `needle at ${seen.needle}`);
      }
    }));

  test("the_deviation_scale_puts_numbers_where_they_belong", () =>
    on(SCENES.held, async (page) => {
      // By hand: the band is the middle third, so 201..205 maps to 1/3..2/3 and one gram is 1/12 of the track.
      const places = await page.evaluate(async () => {
        const { geometry } = await import("/assets/scale_geometry.js");
        const mass = { target: 203, lower: 201, upper: 205, u: 0.6 };
        return {
          middle: geometry({ ...mass, value: 203 }),
          gram: geometry({ ...mass, value: 204 }),
          far: geometry({ ...mass, value: 0 }),
          at_most: geometry({ value: 1150, target: null, lower: null, upper: 1168.4 }),
          none: geometry({ value: 3, target: null, lower: null, upper: null }),
          empty: geometry({ ...mass, value: null }),
          corner: geometry({ value: 1143, target: 1143, lower: 1141.4125, upper: 1143 }),
        };
      });
      const near = (found, expected) => assert.ok(Math.abs(found - expected) < 1e-9, `${found}, expected ${expected}`);
      near(places.middle.needle, 1 / 2);
      near(places.gram.needle, 1 / 2 + 1 / 12);
      near(places.gram.spread[1] - places.gram.spread[0], 2.4 / 12);
      assert.equal(places.far.off, "left");
      assert.equal(places.at_most.band[0], 0);
      assert.ok(places.at_most.needle < 2 / 3);
      assert.equal(places.none, null);
      assert.equal(places.empty.needle, null);
      near(places.corner.target, 2 / 3);
    }));

  test("an_old_reading_is_grey_after_one_second_and_dashes_after_three", () =>
    on(SCENES.held, async (page) => {
      await untilAttribute(page, "#live", "data-fresh", "fresh");
      const fresh = await page.evaluate(() => getComputedStyle(document.getElementById("number")).color);
      const times = page.evaluate(
        () =>
          new Promise((resolve, reject) => {
            setTimeout(() => reject(new Error(`after ten seconds: ${JSON.stringify(seen)}`)), 10_000);
            const seen = {};
            let last = performance.now();
            const live = document.getElementById("live");
            const watch = new MutationObserver((records) => {
              for (const record of records) if (record.attributeName === "data-beat") last = performance.now();
              const state = live.dataset.fresh;
              if (state !== "fresh" && !seen[state]) {
                seen[state] = { after_ms: performance.now() - last, color: getComputedStyle(document.getElementById("number")).color };
              }
              if (state === "gone")
                queueMicrotask(() => {
                  watch.disconnect();
                  resolve({ ...seen, text: document.getElementById("number").textContent });
                });
            });
            watch.observe(live, { attributes: true });
            watch.observe(document.getElementById("beat"), { attributes: true });
          }),
      );
      bench.mock.hush();
      const seen = await times;
      // The mock's readings are 40 ms old when they are sent; the page looks at least five times a second.
      assert.ok(seen.aged.after_ms > 850 && seen.aged.after_ms < 1500, `grey after ${seen.aged.after_ms} ms`);
      assert.ok(seen.gone.after_ms > 2850 && seen.gone.after_ms < 3500, `dashes after ${seen.gone.after_ms} ms`);
      assert.notEqual(seen.aged.color, fresh);
      await untilText(page, "#number", "– – –");
      assert.equal(await page.locator("#places [data-on]").count(), 0, "no verdict on what is not read");
      bench.mock.resume();
      await untilAttribute(page, "#live", "data-fresh", "fresh");
    }));

  test("the_age_that_the_daemon_reports_counts", () =>
    on(SCENES.aged, async (page) => {
      await untilAttribute(page, "#live", "data-fresh", "aged");
      await untilText(page, "#phase-word", "s old");
      await show(page, SCENES.gone);
      await untilText(page, "#number", "– – –");
      await untilText(page, ".tile-text", "– – –");
    }));

  test("the_beat_moves_with_the_daemon_and_stands_still_with_it", () =>
    on(SCENES.held, async (page) => {
      const beat = () => page.evaluate(() => document.getElementById("beat-hand").getAttribute("transform"));
      const first = await beat();
      await page.waitForFunction((before) => document.getElementById("beat-hand").getAttribute("transform") !== before, first);
      bench.mock.hush();
      await untilAttribute(page, "#live", "data-fresh", "gone");
      const still = await beat();
      await untilText(page, "#banners", "no connection to the bench program");
      assert.equal(await beat(), still);
      bench.mock.resume();
      await page.waitForFunction(() => document.getElementById("banners").hidden);
    }));

  test("a_page_that_hangs_fades_its_digits", () =>
    on(SCENES.held, async (page) => {
      // The animation is what the compositor plays while the page's script hangs; a running page winds it back for ever:
      // watched for longer than the animation lasts, it never comes near its end.
      const latest_ms = await page.evaluate(
        () =>
          new Promise((resolve) => {
            const [switched] = document.getElementById("digits").getAnimations();
            const end = performance.now() + 1.2 * switched.effect.getComputedTiming().duration;
            let latest = 0;
            const look = () => {
              latest = Math.max(latest, switched.currentTime);
              if (performance.now() > end) resolve(latest);
              else requestAnimationFrame(look);
            };
            look();
          }),
      );
      assert.ok(latest_ms < 2000, `${latest_ms} ms since it was wound`);
      const opacities = await page.evaluate(() => {
        const [digits] = document.getElementById("digits").getAnimations();
        digits.pause();
        digits.currentTime = 3999;
        const late = Number(getComputedStyle(document.getElementById("digits")).opacity);
        digits.currentTime = 0;
        return [late, Number(getComputedStyle(document.getElementById("digits")).opacity)];
      });
      assert.ok(opacities[0] < 0.05, `late: ${opacities[0]}`);
      assert.equal(opacities[1], 1);
      const repeating = await page.evaluate(
        () => document.getAnimations().filter((animation) => animation.effect.getComputedTiming().iterations > 1).length,
      );
      assert.equal(repeating, 0, "nothing flashes");
    }));

  test("a_cut_stream_comes_back_with_everything", () =>
    on(
      SCENES.held,
      async (page) => {
        bench.mock.hush();
        bench.mock.cut();
        await untilText(page, "#banners", "no connection to the bench program");
        bench.mock.set(onScale({}, OVER));
        bench.mock.resume();
        await page.waitForFunction(() => document.getElementById("banners").hidden);
        await untilText(page, "#number", "+2.9");
      },
      { expected: /ERR_|Failed to load resource/ },
    ));

  test("a_daemon_that_restarts_is_found_again", async () => {
    let own = await startMock();
    const port = Number(new URL(own.url).port);
    const { page, close } = await openPage(bench.browser, own.url);
    await untilText(page, "#club-title", "driver");
    await own.stop();
    await untilText(page, "#banners", "no connection to the bench program");
    await untilText(page, "#number", "");
    own = await startMock(port);
    own.set(s.scene({ club: s.club({ name: "3 wood" }) }));
    await untilText(page, "#club-title", "3 wood");
    await page.waitForFunction(() => document.getElementById("banners").hidden);
    await close();
    await own.stop();
  });

  test("cautions_stand_at_the_step_and_banners_with_their_remedy", () =>
    on(SCENES.disturbed, async (page) => {
      await untilText(page, "#step", "gloves, fresh air");
      await page.locator(".cautions summary").press("Enter");
      assert.ok(await page.getByText("first aid are on the maker").isVisible(), "all of it is one key away");
      await untilText(page, "#step", "data sheet and local rules come first");
      await show(page, SCENES.lost);
      for (const banner of s.bannerSet()) {
        await untilText(page, "#banners", banner.text);
        await untilText(page, "#banners", banner.remedy);
      }
    }));

  test("the_instrument_with_something_going_on_has_the_focus", () =>
    on(SCENES.empty, async (page) => {
      bench.mock.setInstruments([s.scale({ phase: "held", readings: [s.headMass()] }), s.beam(), s.gauge()]);
      await untilText(page, "#live-title", "head mass");
      bench.mock.setInstruments([
        s.scale({ phase: "held", readings: [s.headMass()] }),
        s.beam({ phase: "settling", progress: 0.1, readings: s.beamReadings() }),
        s.gauge(),
      ]);
      await untilText(page, "#live-title", "swing weight");
      bench.mock.setInstruments([s.scale({ phase: "held", readings: [s.headMass()] }), s.beam(), s.gauge()]);
      await untilText(page, "#live-title", "head mass");
      bench.mock.setInstruments([s.scale(), s.beam({ phase: "held", readings: s.beamReadings() }), s.gauge()]);
      await page.locator('[data-focus="companion-total_mass"]').click();
      await untilText(page, "#live-title", "total mass");
      await untilText(page, "#number", "−1.6");
    }));

  test("names_are_text_whatever_they_contain", () =>
    on(SCENES.empty, async (page) => {
      const nasty = "<img src=x onerror=alert(1)>";
      await show(
        page,
        s.scene({
          banners: [{ level: "warning", text: nasty, remedy: nasty }],
          club: s.club({ name: nasty, next: nasty, advice: [nasty] }),
          captures: [s.unfiled({ reason: nasty })],
        }),
      );
      await untilText(page, "#club-title", nasty);
      assert.equal(await page.locator("img").count(), 0);
    }));

  test("missing_and_odd_numbers_break_nothing", () =>
    on(SCENES.empty, async (page) => {
      await show(
        page,
        s.scene({
          banners: null,
          captures: null,
          queue: null,
          club: s.club({ advice: null, cautions: null, characteristics: null, next: null, next_step: null }),
          instruments: [
            s.scale({
              phase: "held",
              age_ms: 0,
              readings: [s.headMass({ value: null, text: null, deviation: null, deviation_text: null, verdict: null })],
            }),
          ],
        }),
      );
      await untilText(page, "#number", "– – –");
    }));
});
