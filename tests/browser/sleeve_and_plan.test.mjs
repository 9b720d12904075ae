// The positions of a sleeve on the page of a record, and the plan of a set from the stock.
//
// Expected: the sleeve's changes are those of tests/checks (rotation matrices, tilt 1 deg on loft 10.5 deg and lie 58 deg);
// of a set of two irons and two heads each head is made for one club, so nobody has a choice of heads.

import { after, before, describe, test } from "node:test";
import assert from "node:assert/strict";
import { startOwnBench } from "./own_bench.mjs";
import { looksGood } from "./page_looks.mjs";
import { launch, onPage, untilText } from "./support.mjs";

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

const SET = `order = "W-7102"

[[club]]
name = "5-iron"
kind = "iron"
length = "38 in"
swing_weight = "D2 ± 0.5"

[[club]]
name = "7-iron"
kind = "iron"
length = "37 in"
swing_weight = "D2 ± 0.5"
`;

describe("sleeve and plan", () => {
  let bench;
  let browser;
  before(async () => {
    bench = await startOwnBench({ pace: 4 });
    browser = await launch();
    for (const text of [ORDER, SET]) {
      assert.ok((await bench.command({ command: "import_order", text })).ok);
    }
  });
  after(async () => {
    await browser?.close();
    await bench?.stop();
  });
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
    const rows = [
      ["head", [[256.2, { for: "5-iron" }], [270.1, { for: "7-iron" }]]],
      ["shaft", [[112.3, {}], [113.1, {}]]],
      ["grip", [[50.2, {}], [49.5, {}]]],
    ];
    for (const [kind, parts] of rows) {
      const facts = kind === "shaft" ? { length: "40 in", balance: "510 mm" } : {};
      assert.ok((await bench.command({ command: "begin_intake", kind, instrument: "parts-scale", ...facts })).ok);
      for (const [grams, more] of parts) {
        await bench.until("api/v1/state", (state) => state.instruments.find(({ id }) => id === "parts-scale").phase === "empty");
        const before = (await bench.get("api/v1/parts")).parts.length;
        bench.lay("parts-scale", grams);
        const { parts: all } = await bench.until("api/v1/parts", ({ parts: found }) => found.length > before);
        bench.lift("parts-scale");
        if (more.for) {
          const numbers = all.map(({ part }) => part).sort();
          const newest = numbers.filter((number) => number.startsWith("H-")).at(-1);
          assert.ok((await bench.command({ command: "describe_part", part: newest, ...more })).ok);
        }
      }
      assert.ok((await bench.command({ command: "end_intake" })).ok);
    }
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
