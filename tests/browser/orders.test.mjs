// The orders: taken in by choosing or dropping files, opened and put aside.
//
// Expected: the mistakes are those that the test wrote into the file, at the lines where it wrote them.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { ORDER, startOwnBench } from "./own_bench.mjs";
import { looksGood } from "./page_looks.mjs";
import { aroundTests, launch, onPage, untilText } from "./support.mjs";

const WRONG = ORDER.replace('kind = "iron"', 'kind = "spoon"').replace('head_mass = "203 g ± 2 g"', 'head_mass = "203"');
const file = (name, text) => ({ name, mimeType: "application/toml", buffer: Buffer.from(text) });
const lineOf = (text, part) => text.split("\n").findIndex((line) => line.includes(part)) + 1;

describe("orders", () => {
  let bench;
  let browser;
  aroundTests(startOwnBench, (...started) => ([bench, browser] = started));
  const at = (path) => new URL(path, bench.url).href;
  const open = (body) => onPage(browser, at("orders"), body, { expected: /status of 422/ });

  test("an_empty_queue_says_what_to_do", async () => {
    await open((page) => untilText(page, '[data-part="queue"]', "Drop a file above"));
    await looksGood(browser, at("orders"), "orders-empty");
  });

  test("every_mistake_is_shown_at_its_line_and_nothing_is_taken_in", () =>
    open(async (page) => {
      await page.locator("#files").setInputFiles(file("w7001.toml", WRONG));
      await untilText(page, "#import-answers", "w7001.toml is not taken in: 2 mistakes");
      const shown = await page
        .locator(".mistakes li")
        .evaluateAll((all) => all.map((item) => ["span", "code", "p"].map((part) => item.querySelector(part).textContent)));
      assert.deepEqual(
        shown.map(([line, text]) => [Number(line), text]),
        [
          [lineOf(WRONG, '"203"'), 'head_mass = "203"'],
          [lineOf(WRONG, "spoon"), 'kind = "spoon"'],
        ],
      );
      assert.ok(shown[1][2].includes("expected one of: driver"), shown[1][2]);
      assert.deepEqual((await bench.get("api/v1/orders")).orders, []);
      const folder = process.env.BENCHSCRIBE_ARTEFACTS;
      if (folder) await page.screenshot({ path: `${folder}/orders-mistakes-1280x800.png` });
    }));

  test("a_dropped_file_is_taken_in_and_stands_in_the_queue", () =>
    open(async (page) => {
      const dropped = await page.evaluateHandle((text) => {
        const carried = new DataTransfer();
        carried.items.add(new File([text], "w7001.toml", { type: "application/toml" }));
        return carried;
      }, ORDER);
      await page.dispatchEvent("#drop", "dragover", { dataTransfer: dropped });
      assert.equal(await page.locator("#drop").getAttribute("data-over"), "yes");
      await page.dispatchEvent("#drop", "drop", { dataTransfer: dropped });
      await untilText(page, "#import-answers", "w7001.toml is taken in");
      await untilText(page, '[data-part="queue"]', "W-7001");
      await untilText(page, '[data-part="queue"]', "promised for 2026-12-01");
    }));

  test("orders_and_clubs_are_opened_and_put_aside", () =>
    open(async (page) => {
      await page.getByRole("button", { name: "open W-7001" }).click();
      await page.getByRole("button", { name: "put driver aside" }).click();
      await untilText(page, '[data-part="queue"]', "put aside");
      await page.getByRole("button", { name: "open 7-iron" }).click();
      await bench.until("api/v1/state", (state) => state.club?.club === "W-7001/2");
      await page.getByRole("link", { name: "record of W-7001/2" }).click();
      await untilText(page, "h1", "7-iron");
    }));

  test("the_page_looks_good", () => looksGood(browser, at("orders"), "orders"));

  test("looking_changes_nothing", async () => {
    const { seq } = await bench.get("api/v1/state");
    for (const path of ["orders", "records", "instruments", "pattern", "instruments/parts-scale/check", "instruments/beam/calibrate"])
      assert.equal((await fetch(at(path))).status, 200, path);
    assert.equal((await bench.get("api/v1/state")).seq, seq);
    for (const path of ["orders", "instruments/parts-scale/check"])
      assert.equal((await fetch(at(path), { method: "POST" })).status, 405, path);
  });
});

describe("orders of a bench at work", { skip: process.env.BENCHSCRIBE_URL ? false : "BENCHSCRIBE_URL is not set" }, () => {
  test("the_page_looks_good", async () => {
    const browser = await launch();
    await looksGood(browser, new URL("orders", process.env.BENCHSCRIBE_URL).href, "orders-at-work", { busy: true, data_bytes: 60_000 });
    await browser.close();
  });
});
