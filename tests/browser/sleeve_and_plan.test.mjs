// The positions of a sleeve on the page of a record, and the plan of a set from the stock.
//
// Expected: the sleeve's changes are those of tests/checks (rotation matrices, tilt 1 deg on loft 10.5 deg and lie 58 deg);
// of a set of two irons and two heads each head is made for one club, so nobody has a choice of heads.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { startOwnBench } from "./own_bench.mjs";
import { looksGood } from "./page_looks.mjs";
import { SET, stockTheSet } from "./planned_set.mjs";
import { aroundTests, onPage, untilText } from "./support.mjs";

const ORDER = `order = "W-7101"

[[club]]
name = "driver"
kind = "driver"
loft = "10.5 deg ± 0.5 deg"
lie = "58 deg ± 0.5 deg"
[club.sleeve]
tilt = "1 deg"
clock = ["0 deg", "90 deg", "180 deg", "270 deg"]
`;

describe("sleeve and plan", () => {
  let bench;
  let browser;
  const start = async () => {
    const own = await startOwnBench({ pace: 4 });
    for (const text of [ORDER, SET]) assert.ok((await own.command({ command: "import_order", text })).ok);
    return own;
  };
  aroundTests(start, (...started) => ([bench, browser] = started));
  const at = (path) => new URL(path, bench.url).href;
  const open = (path, body, options) => onPage(browser, at(path), body, options);
  const table = (page, part) =>
    page.locator(`[data-part="${part}"] tbody tr`).evaluateAll((all) => all.map((row) => [...row.children].map((cell) => cell.textContent)));

  test("a_record_shows_every_position_of_the_sleeve_and_the_nearest", async () => {
    const { token } = await bench.get("api/v1/records/W-7101/1");
    await open(`records/${token}`, async (page) => {
      assert.deepEqual(
        (await table(page, "sleeve")).map(([clock, lie]) => [clock, lie]),
        [["0", "+1.00"], ["90", "0.00"], ["180", "-1.00"], ["270", "0.00"]],
      );
      await untilText(page, '[data-part="sleeve"]', "taken as square");
      await page.getByLabel("of loft").fill("1 deg weaker");
      await page.getByRole("button", { name: "which position is nearest?" }).click();
      await untilText(page, '[data-part="sleeve"]', "90 deg does what is wanted, off by 0.18 deg");
      await page.getByLabel("of loft").fill("-6 deg");
      await page.getByRole("button", { name: "which position is nearest?" }).click();
      await untilText(page, '[data-part="sleeve"]', "no position does what is wanted: the nearest is 270 deg");
      await page.getByLabel("of loft").fill("6 deg sideways");
      await page.getByRole("button", { name: "which position is nearest?" }).click();
      await untilText(page, '[data-part="sleeve"] .alarm', "expected weaker or stronger");
    });
    await looksGood(browser, at(`records/${token}?loft=1%20deg%20weaker`), "record-sleeve");
  });

  test("a_set_without_parts_says_what_the_stock_lacks", async () => {
    await open("orders/W-7102/plan", (page) => untilText(page, "main", "no head in stock can be planned with"));
  });

  test("a_set_is_planned_from_the_stock_with_every_value_and_its_deviation", async () => {
    await stockTheSet(bench);
    const plan = await bench.get("api/v1/orders/W-7102/plan");
    assert.deepEqual(plan.clubs.map(({ name }) => name), ["5-iron", "7-iron"]);
    for (const value of plan.clubs.flatMap(({ values }) => values)) {
      assert.ok(value.u > 0, JSON.stringify(value));
      if (value.target !== null) assert.ok(Math.abs(value.value - value.target - value.deviation) < 1e-9, JSON.stringify(value));
    }
    assert.equal((await fetch(at("api/v1/orders/W-7102/plan?match=colour"))).status, 400);
    assert.equal((await fetch(at("api/v1/orders/W-9/plan"))).status, 404);
    await open("orders/W-7102/plan", async (page) => {
      const values = await table(page, "values");
      const swing = values.find(([club, what]) => club === "5-iron" && what === "swing weight");
      assert.match(swing[2], /± \d/);
      assert.ok(swing[3].startsWith("D2.0") && /points/.test(swing[4]), swing.join("|"));
      await untilText(page, '[data-part="parts"]', "proved");
    });
    await looksGood(browser, at("orders/W-7102/plan"), "plan");
  });
});
