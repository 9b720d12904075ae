// The instruments and their guided pages, with weights laid on simulated instruments.
//
// Expected: the class of the weights and their limits from OIML R 111-1, table 1; warning at two and stop at three standard
// deviations, limits from the fifth check on another day on (NIST SOP 9, from memory, as the daemon's charts have it).

import { after, before, describe, test } from "node:test";
import assert from "node:assert/strict";
import { startOwnBench } from "./own_bench.mjs";
import { looksGood } from "./page_looks.mjs";
import { launch, onPage, untilText } from "./support.mjs";

describe("instruments", () => {
  let bench;
  let browser;
  before(async () => {
    bench = await startOwnBench();
    browser = await launch();
    await bench.until("api/v1/state", (state) =>
      ["parts-scale", "club-scale", "beam", "gauge"].every((id) => phaseOf(state, id) === "empty"),
    );
  });
  after(async () => {
    await browser?.close();
    await bench?.stop();
  });
  const phaseOf = (state, id) => state.instruments.find((instrument) => instrument.id === id)?.phase;
  const at = (path) => new URL(path, bench.url).href;
  const clear = async (id) => {
    bench.lift(id);
    await bench.until("api/v1/state", (state) => phaseOf(state, id) === "empty");
  };
  // On a machine with no processor to spare an instrument is silent for a moment; what lies there then must be laid down again.
  const layUntil = async (page, id, numbers, condition, argument) => {
    for (let left = 3; ; left -= 1) {
      bench.lay(id, ...numbers);
      try {
        return await page.waitForFunction(condition, argument, { timeout: 12_000 });
      } catch (error) {
        if (left === 0) throw error;
        await clear(id);
      }
    }
  };
  const open = (path, body, options) => onPage(browser, at(path), body, options);
  // A refused command is an answer of 422, which the browser writes into its console by itself.
  const REFUSED = /status of 422/;

  test("every_instrument_shows_trace_noise_zero_and_what_is_refused", () =>
    open(
      "instruments",
      async (page) => {
        for (const id of ["parts-scale", "club-scale", "beam", "gauge"]) {
          const section = `section[data-instrument="${id}"]`;
          await page.waitForFunction(
            (selector) => document.querySelector(`${selector} [data-field="trace"]`)?.getAttribute("d")?.includes("L"),
            section,
          );
          await page.waitForFunction(
            (selector) => /\d (g|deg)$|last digit$/.test(document.querySelector(`${selector} [data-field="noise"]`)?.textContent ?? ""),
            section,
          );
          assert.match(await page.locator(`${section} [data-field="zero"]`).textContent(), /\d (g|deg)$/);
          assert.ok((await page.locator(`${section} [data-field="refused"]`).textContent()).length > 0);
        }
        bench.lay("parts-scale", 120);
        await untilText(page, 'section[data-instrument="parts-scale"] [data-field="text"]', "120.0");
        // 120 g = 4.2329 oz; before its script runs the page says so as well.
        await open(
          "instruments",
          async (other) => {
            const scale = other.locator('section[data-instrument="parts-scale"]');
            await other.waitForFunction(() => /^4\.2\d\d\d$/.test(document.querySelector('section[data-instrument="parts-scale"] [data-field="trace-top"]').textContent));
            assert.equal(await scale.locator('[data-field="unit"]').textContent(), "oz");
            assert.match(await scale.locator('[data-field="text"]').textContent(), /^4\.23\d oz$/);
            assert.match(await scale.locator('[data-field="zero"]').textContent(), /\d oz$/);
            assert.equal(await other.locator('section[data-instrument="gauge"] [data-field="unit"]').textContent(), "deg");
          },
          { kept: { "bench-masses": "oz" } },
        );
        const plain = await (await fetch(at("instruments"), { headers: { cookie: "bench-masses=oz" } })).text();
        assert.match(plain, /data-field="text">4\.23\d oz</);
        await untilText(page, 'section[data-instrument="parts-scale"] [data-field="phase"]', "settled");
        const zero = page.locator('section[data-instrument="parts-scale"]').getByRole("button", { name: "find its zero again" });
        await zero.click();
        await untilText(page, "#notices", "something lies on it: clear parts scale first");
        await clear("parts-scale");
      },
      { expected: REFUSED },
    ));

  test("a_check_is_asked_for_read_judged_and_drawn", () =>
    open(
      "instruments/parts-scale/check",
      async (page) => {
        await page.getByLabel("mass of the weight").fill("20 g");
        await page.getByRole("button", { name: "I will lay it on now" }).click();
        // 5 % of 1200 g (USP 41 asks for a weight from 5 % of the capacity up).
        await untilText(page, "#notices", "at least 60 g");
        await page.getByLabel("mass of the weight").fill("200 g");
        await page.getByLabel("certificate: error").fill("0 mg");
        await page.getByLabel("certificate: U").fill("3 mg");
        for (let round = 1; round <= 5; round += 1) {
          await page.getByRole("button", { name: "I will lay it on now" }).click();
          await untilText(page, ".asked", "lay 200 g, class M1 on it");
          await layUntil(page, "parts-scale", [200], (count) => document.querySelectorAll(".spot").length === count, round);
          assert.equal(await page.getByLabel("mass of the weight").inputValue(), "200 g", "what was filled in stays");
          await clear("parts-scale");
        }
        // What repeats within one sitting makes no control limits.
        await untilText(page, '[data-part="chart"]', "come with the fifth check on another day");
        assert.equal(await page.locator(".line-stop").count(), 0);
        await untilText(page, '[data-part="now"]', "200.000 g");
        const { checks } = await bench.get("api/v1/instruments/parts-scale");
        assert.equal(checks.chart.length, 5);
        assert.ok(checks.chart.every((point) => Math.abs(point.error_g) < 0.05));
      },
      { expected: REFUSED },
    ));

  test("the_check_looks_good", async () => {
    await looksGood(browser, at("instruments/parts-scale/check"), "check");
    await looksGood(browser, at("instruments"), "instruments");
  });

  test("a_gauge_is_checked_with_its_block", () =>
    open("instruments/gauge/check", async (page) => {
      await page.getByLabel("lie of the block").fill("60 deg");
      await page.getByLabel("loft of the block").fill("30 deg");
      await page.getByRole("button", { name: "I will lay it on now" }).click();
      await untilText(page, ".asked", "lie 60 deg, loft 30 deg");
      // One chart of lie, one of loft.
      await layUntil(page, "gauge", [30, 60], () => document.querySelectorAll(".chart .spot").length === 2);
      await untilText(page, '[data-part="now"]', "deg for 60.000 deg");
      await clear("gauge");
    }));

  test("a_check_can_be_called_off", () =>
    open("instruments/club-scale/check", async (page) => {
      await page.getByLabel("mass of the weight").fill("500 g");
      await page.getByRole("button", { name: "I will lay it on now" }).click();
      await untilText(page, ".asked", "500 g");
      await page.getByRole("button", { name: "call it off" }).click();
      await page.waitForFunction(() => !document.querySelector(".asked"));
      assert.equal((await bench.get("api/v1/instruments/club-scale")).checks.awaiting, null);
    }));

  test("a_calibration_wants_as_found_before_it_adjusts_and_as_left_before_it_counts", () =>
    open(
      "instruments/parts-scale/calibrate",
      async (page) => {
        await page.getByLabel("who is at the bench").fill("K7");
        await page.getByRole("button", { name: "note it" }).click();
        await page.getByLabel("temperature").fill("21.5");
        await page.getByRole("button", { name: "begin" }).click();
        await page.getByRole("button", { name: "work out the adjustment" }).click();
        await untilText(page, "#notices", "is not adjusted without as-found readings: lay the references on first");
        const place = async (grams, part, count) => {
          await page.getByLabel("mass of the weight").fill(`${grams} g`);
          await page.getByLabel("certificate: number").fill("4711");
          await page.getByRole("button", { name: "I will lay it on now" }).click();
          await untilText(page, ".asked", `lay ${grams} g`);
          await layUntil(
            page,
            "parts-scale",
            [grams],
            ([name, rows]) => document.querySelectorAll(`[data-part="${name}"] tbody tr`).length === rows,
            [part, count],
          );
          await clear("parts-scale");
        };
        await place(200, "found", 1);
        await place(500, "found", 2);
        await page.getByRole("button", { name: "work out the adjustment" }).click();
        await page.waitForFunction(() => document.querySelector('[data-part="adjust"] .facts dd'));
        await page.getByRole("button", { name: "bring it into force" }).click();
        await untilText(page, "#notices", "once more first: what it reads as left belongs to the record");
        await place(200, "left", 1);
        await page.getByRole("button", { name: "bring it into force" }).click();
        await untilText(page, '[data-part="in-force"]', "made at this bench");
        const words = await page.locator('[data-part="in-force"]').textContent();
        assert.ok(words.indexOf("as found before it") < words.indexOf("as left by it"));
        assert.ok(words.includes("21.5 °C") && words.includes("4711"));
        const { events } = await bench.get("api/v1/events?after=0");
        const calibrated = events.findLast((event) => event.kind === "calibrated");
        assert.equal(calibrated.by, "K7");
        assert.equal(calibrated.report.as_found.length, 2);
        assert.equal(calibrated.report.as_left.length, 1);
      },
      { expected: REFUSED },
    ));

  test("beam_and_gauge_take_references_of_their_own_and_giving_up_changes_nothing", async () => {
    for (const [id, fields, load, shown] of [
      ["beam", { "mass of the weight": "500 g", "hangs at, from the butt stop": "450 mm" }, [500, 450], "500 g, class M1 at 450 mm"],
      ["gauge", { "lie of the block": "60 deg", "loft of the block": "30 deg" }, [30, 60], "lie 60 deg, loft 30 deg"],
    ])
      await open(`instruments/${id}/calibrate`, async (page) => {
        await page.getByRole("button", { name: "begin" }).click();
        for (const [label, text] of Object.entries(fields)) await page.getByLabel(label).fill(text);
        await page.getByRole("button", { name: "I will lay it on now" }).click();
        await untilText(page, ".asked", shown);
        const isRead = (text) => document.querySelector('[data-part="found"] tbody')?.textContent.includes(text);
        await layUntil(page, id, load, isRead, shown);
        await clear(id);
        await page.getByRole("button", { name: "give it up" }).click();
        await page.waitForFunction(() => !document.querySelector('[data-part="found"]'));
        await untilText(page, '[data-part="in-force"]', "from the configuration");
      });
  });

  test("what_cannot_be_is_said_in_words", async () => {
    for (const [path, words] of [
      ["instruments/clock/check", "there is no instrument clock"],
      ["instruments/scanner/calibrate", "measures nothing"],
    ]) {
      const answer = await fetch(at(path));
      assert.equal(answer.status, 404);
      assert.ok((await answer.text()).includes(words), path);
    }
    const problem = await fetch(at("api/v1/instruments/clock"));
    assert.equal(problem.headers.get("content-type"), "application/problem+json");
    assert.ok((await problem.json()).detail.includes("there is no instrument clock"));
  });

  test("the_pages_look_good", async () => {
    await bench.command({ command: "operator", operator: "K7" });
    await bench.command({ command: "calibrate_begin", instrument: "beam" });
    await looksGood(browser, at("instruments/beam/calibrate"), "calibrate-beam");
    await bench.command({ command: "calibrate_cancel", instrument: "beam" });
    await looksGood(browser, at("instruments/gauge/calibrate"), "calibrate-gauge");
    await looksGood(browser, at("instruments/parts-scale/calibrate"), "calibrate");
  });
});

describe("instruments of a bench at work", { skip: process.env.BENCHSCRIBE_URL ? false : "BENCHSCRIBE_URL is not set" }, () => {
  test("the_page_looks_good", async () => {
    const browser = await launch();
    await looksGood(browser, new URL("instruments", process.env.BENCHSCRIBE_URL).href, "instruments-at-work", { busy: true });
    await browser.close();
  });
});
