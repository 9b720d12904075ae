// What finished clubs say of the work, and the numbered parts in stock: empty, filled, printed.
//
// Expected: the masses are those that the test lays down; the paper is A4, 210 mm by 297 mm (ISO 216).

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdtemp, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { ORDER, startOwnBench } from "./own_bench.mjs";
import { looksGood } from "./page_looks.mjs";
import { aroundTests, onPage, untilText } from "./support.mjs";

const SCALE = "parts-scale";

describe("history and stock", () => {
  let bench;
  let browser;
  aroundTests(startOwnBench, (...started) => ([bench, browser] = started));
  const at = (path) => new URL(path, bench.url).href;
  const open = (path, body, options) => onPage(browser, at(path), body, options);
  const phase = (wanted) => bench.until("api/v1/state", (state) => state.instruments.find(({ id }) => id === SCALE).phase === wanted);
  const weigh = async (grams) => {
    await phase("empty");
    const before = (await bench.get("api/v1/state")).captures.length;
    bench.lay(SCALE, grams);
    await bench.until("api/v1/state", (state) => state.captures.length > before);
    bench.lift(SCALE);
    await phase("empty");
  };
  /** What a printer gets of a page: its text, and on how many sheets of A4. */
  const printed = async (path) => {
    const folder = await mkdtemp(join(tmpdir(), "benchscribe-print-"));
    const file = join(folder, "page.pdf");
    await open(path, async (page) => {
      await page.emulateMedia({ media: "print" });
      const { wide, shown } = await page.evaluate(() => ({
        wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
        shown: [...document.querySelectorAll("nav, button, form")].filter((node) => node.checkVisibility()).map((node) => node.textContent.trim().slice(0, 40)),
      }));
      assert.ok(wide <= 0, `${path}: wider than the paper by ${wide}`);
      assert.deepEqual(shown, [], `${path}: printed although nobody can press it`);
      await writeFile(file, await page.pdf({ format: "A4" }));
    });
    const info = execFileSync("pdfinfo", [file], { encoding: "utf8" });
    const text = execFileSync("pdftotext", ["-layout", file, "-"], { encoding: "utf8" });
    await rm(folder, { recursive: true });
    // 210 mm and 297 mm in points of 1/72 in (ISO 32000-1, 8.3.2.3).
    const [, width, height] = /Page size:\s+([\d.]+) x ([\d.]+)/.exec(info);
    assert.ok(Math.abs(width - 595.3) < 1 && Math.abs(height - 841.9) < 1, info);
    return { text, pages: Number(/Pages:\s+(\d+)/.exec(info)[1]) };
  };

  test("empty_pages_say_what_fills_them", async () => {
    await open("history", (page) => untilText(page, ".empty", "No club was finished in that time"));
    await open("stock", (page) => untilText(page, ".empty", "No numbered part is in stock"));
    await looksGood(browser, at("history"), "history-empty");
    await looksGood(browser, at("stock"), "stock-empty");
  });

  test("a_row_of_parts_is_laid_down_from_the_page", async () => {
    await open("stock", async (page) => {
      await page.locator('select[name="kind"]').selectOption("head");
      await page.locator('input[name="drawer"]').fill("A2");
      await page.locator('input[name="for"]').fill("7-iron");
      await page.locator('input[name="lot"]').fill("L7");
      await page.getByRole("button", { name: "begin" }).click();
      await untilText(page, '[data-part="intake"]', "it becomes H-1");
      await weigh(268.41);
      await untilText(page, '[data-part="parts"]', "268.4");
      await weigh(267.32);
      await untilText(page, '[data-part="intake"]', "it becomes H-3");
      await page.getByRole("button", { name: "end I-1" }).click();
      await untilText(page, '[data-part="intake"]', "lay a row of parts down");
      const rows = await page.locator('[data-part="parts"] tbody tr').evaluateAll((all) => all.map((row) => row.innerText.split("\t")));
      assert.equal(rows.length, 2);
      assert.deepEqual(rows.map((row) => [row[0], row[1], row[4], row[5], row[7]]).sort(), [
        ["H-1", "head", "7-iron", "A2", "L7"],
        ["H-2", "head", "7-iron", "A2", "L7"],
      ]);
      const labels = await fetch(at("stock/labels?intake=I-1"));
      assert.equal(labels.headers.get("content-type"), "application/pdf");
    });
    await looksGood(browser, at("stock"), "stock");
    const { text, pages } = await printed("stock");
    assert.ok(text.includes("H-1") && text.includes("H-2") && pages === 1, text);
  });

  test("finished_clubs_say_how_the_work_went", async () => {
    await bench.command({ command: "import_order", text: ORDER });
    await bench.command({ command: "open_order", order: "W-7001" });
    await weigh(203.4);
    // By itself it could be a heavy grip as well.
    await bench.command({ command: "enter", characteristic: "shaft_mass", quantity: "64.3 g" });
    // A club is finished when it is handed over; of these two nothing was bonded.
    const handOver = (club) => bench.command({ command: "override_hand_over", club, name: "K7", why: "only its parts were wanted" });
    await handOver("W-7001/1");
    await weigh(268.2);
    await handOver("W-7001/2");
    await bench.until("api/v1/history", (history) => history.clubs === 2);
    await open("history", async (page) => {
      await untilText(page, "h2", "2 clubs");
      await untilText(page, "main", "right the first time: 2 of 2");
      await untilText(page, "main", "whole club");
      await untilText(page, "main", "pauses of more than half an hour do not count");
      assert.equal(await page.locator("main svg").count(), 2, "a chart for heads on the scale and one for the shaft that was typed");
      // Few clubs: all of them were looked at.
      assert.equal(await page.locator('[data-part="limit"]').count(), 0);
      // A time in which nothing was finished.
      await page.locator('input[name="until"]').fill("2020-01-01");
      await page.getByRole("button", { name: "show" }).click();
      await untilText(page, ".empty", "No club was finished in that time");
    });
    await looksGood(browser, at("history"), "history");
    // 203.4 and 268.2 g are 0.4 and 0.2 g over 203 and 268 g: on average 0.3 g, 0.01058 oz.
    await open(
      "history",
      async (page) => {
        const heads = page.locator("section.panel", { has: page.locator("svg") }).filter({ hasText: "head mass" });
        const said = await heads.textContent();
        assert.match(said, /deviation in oz/);
        assert.match(said, /mean \+0\.010\d\d, s 0\.00\d\d\d;/);
        assert.deepEqual((await heads.locator("svg text").allTextContents()).filter((text) => !/^(0|[+−]0\.0\d\d\d)$/.test(text)), []);
      },
      { kept: { "bench-masses": "oz" } },
    );
    const { text } = await printed("history");
    assert.ok(text.includes("whole club") && text.includes("head mass"), text);
    const table = await (await fetch(at("api/v1/history?as=csv"))).text();
    // A file keeps its units and names them, whatever a display likes.
    assert.ok(table.startsWith("what,of,instrument,unit,") && /^mean_deviation,head_mass,[^,]*,g,/m.test(table), table.slice(0, 300));
    const wrong = await fetch(at("history?since=soon"));
    assert.equal(wrong.status, 400);
    assert.ok((await wrong.text()).includes("give a day such as"));
  });
});
