// Gauge studies on their pages: one is begun by its form, done by two people at the bench, and its result is drawn.
//
// Expected: parts of 200 g and 230 g weighed without an error to speak of: measuring takes a small share of a tolerance of 4 g, so the
// study finds the scale good (under 10 %, AIAG's usual limit, from memory).

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { startOwnBench } from "./own_bench.mjs";
import { looksGood } from "./page_looks.mjs";
import { aroundTests, openPage, untilText } from "./support.mjs";

describe("studies", () => {
  let bench;
  let browser;
  aroundTests(startOwnBench, (...started) => ([bench, browser] = started));
  const at = (path) => new URL(path, bench.url).href;
  const study = () => bench.get("api/v1/studies/S-1");

  test("no_study_says_how_to_begin_one", async () => {
    const { page, errors, close } = await openPage(browser, at("studies"), { width: 1280, height: 800 });
    await untilText(page, "[data-part=known]", "No study yet");
    await page.locator(".ways").getByRole("link", { name: "studies" }).waitFor();
    assert.equal(await page.locator('.ways [aria-current="page"]').textContent(), "studies");
    assert.deepEqual(errors, []);
    await close();
    await looksGood(browser, at("studies"), "studies");
  });

  test("a_study_is_begun_done_and_judged", async () => {
    const { page, errors, close } = await openPage(browser, at("studies"), { width: 1280, height: 800 });
    await page.waitForFunction(() => document.body.dataset.link === "up");
    await page.locator('[name="instrument"]').selectOption("parts-scale");
    await page.locator('[name="people"]').fill("K7, M2");
    await page.locator('[name="parts"]').fill("2");
    await page.locator('[name="trials"]').fill("2");
    await page.locator('[name="tolerance"]').fill("215 g ± 20 g");
    await page.getByRole("button", { name: "begin" }).click();
    await page.getByRole("link", { name: "S-1" }).click();
    await untilText(page, "h1", "S-1");
    for (let done = 0; done < 8; done += 1) {
      const { next } = await study();
      if (!next.at_the_bench) {
        await page.getByRole("button", { name: `I am ${next.person}` }).click();
        await bench.until("api/v1/studies/S-1", (one) => one.next.at_the_bench);
      }
      await untilText(page, "[data-part=guide]", `lay part ${next.part} on`);
      bench.lay("parts-scale", 170 + 30 * next.part);
      await bench.until("api/v1/studies/S-1", (one) => one.done > done);
      bench.lift("parts-scale");
      await bench.until("api/v1/state", (state) => state.instruments.find(({ id }) => id === "parts-scale").phase === "empty");
    }
    await untilText(page, "[data-part=guide]", "finished");
    await untilText(page, "[data-part=found]", "Measuring takes");
    assert.equal(await page.locator("[data-part=found]").getAttribute("data-fitness"), "good");
    assert.equal(await page.locator("[data-part=found] svg").count(), 3);
    assert.deepEqual(errors, []);
    await close();
    await looksGood(browser, at("studies/S-1"), "study", { data_bytes: 40_000 });
    await looksGood(browser, at("studies"), "studies-one");
    // 20 g = 0.7055 oz, 195 g = 6.878 oz, 235 g = 8.289 oz.
    const ounces = await openPage(browser, at("studies/S-1"), { kept: { "bench-masses": "oz" } });
    await untilText(ounces.page, "[data-part=found]", "Measuring takes");
    const texts = await ounces.page.locator("main").evaluate((main) => [main.textContent, ...[...main.querySelectorAll("svg")].map((svg) => svg.getAttribute("aria-label"))].join(" "));
    for (const amount of ["6.878 oz", "8.289 oz", "7.584 oz ± 0.705 oz"]) assert.ok(texts.includes(amount), `${amount}: ${texts}`);
    assert.doesNotMatch(texts, /\d g\b/);
    await ounces.close();
    const german = await openPage(browser, at("studies/S-1"), { locale: "de-DE" });
    await untilText(german.page, "[data-part=found]", "Das Messen nimmt");
    assert.equal(await german.page.locator("main [lang=en]").count(), 0);
    await german.close();
  });
});
