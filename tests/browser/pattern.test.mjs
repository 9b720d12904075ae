// The pattern page, and the way to the other pages from the bench display.

import { after, before, describe, test } from "node:test";
import assert from "node:assert/strict";
import { looksGood } from "./page_looks.mjs";
import { launch, openPage, untilText } from "./support.mjs";

describe("pattern and ways", { skip: process.env.BENCHSCRIBE_URL ? false : "BENCHSCRIBE_URL is not set" }, () => {
  let browser;
  before(async () => {
    browser = await launch();
  });
  after(() => browser.close());
  const at = (path) => new URL(path, process.env.BENCHSCRIBE_URL).href;

  test("every_page_is_two_steps_from_the_bench_and_one_step_back", async () => {
    for (const [way, heading] of [
      ["instruments", "instruments"],
      ["records", "records"],
      ["orders", "orders"],
    ]) {
      const { page, errors, close } = await openPage(browser, process.env.BENCHSCRIBE_URL);
      await page.locator(".ways-menu summary").click();
      await page.locator(".ways-menu").getByRole("link", { name: way }).click();
      await untilText(page, "h1", heading);
      await page.locator(".ways").getByRole("link", { name: "bench" }).click();
      await page.waitForFunction(() => document.getElementById("beat")?.dataset.beat);
      assert.deepEqual(errors, []);
      await close();
    }
  });

  test("no_page_links_the_pattern", async () => {
    for (const path of ["", "instruments", "records", "orders"])
      assert.ok(!(await (await fetch(at(path))).text()).includes('href="pattern"'), path);
  });

  test("the_pattern_looks_good", () => looksGood(browser, at("pattern"), "pattern", { data_bytes: 40_000 }));
});
