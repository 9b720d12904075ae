// The set-up of a display and the drawers, in front of the real daemon.
//
// Expected: a card of ID-1 size is 85.60 mm wide (ISO/IEC 7810); 35 mm and 17.5 mm at 3 m, 20 mm for what is pressed, by the project's
// display requirements; stock counted by hand beside each check.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { ORDER, startOwnBench } from "./own_bench.mjs";
import { looksGood } from "./page_looks.mjs";
import { aroundTests, launch, onPage, openPage, untilText, violations } from "./support.mjs";

describe("set-up of the display and the drawers", () => {
  let bench;
  let browser;
  aroundTests(() => startOwnBench({ kits: true }), (...started) => ([bench, browser] = started));
  const at = (path) => new URL(path, bench.url).href;
  const open = (path, body, options) => onPage(browser, at(path), body, options);
  const stock = async (item) => (await bench.get("api/v1/drawers")).stock.find((line) => line.item === item).left;

  test("the_screen_is_measured_with_a_card_by_the_keyboard_alone", () =>
    open("setup", async (page) => {
      await page.locator("#card-width").focus();
      const before = await page.evaluate(() => document.getElementById("card").getBoundingClientRect().width);
      for (let press = 0; press < 3; press += 1) await page.keyboard.press("ArrowRight");
      const after = await page.evaluate(() => document.getElementById("card").getBoundingClientRect().width);
      assert.equal(after - before, 3);
      // 514 pixels for 85.60 mm are 6.0047 a millimetre: the line of 100 mm is 600.5 pixels long.
      await page.locator("#card-width").fill("514");
      await page.locator("#distance").fill("1.2");
      await page.locator("#fits").focus();
      await page.keyboard.press("Enter");
      await untilText(page, "#measured", "6.00");
      const line = await page.evaluate(() => document.querySelector(".rule-line").getBoundingClientRect().width);
      assert.ok(Math.abs(line - 600.47) < 0.6, `${line}`);
      // 35 mm at 3 m are 14 mm at 1.2 m, of labels 7 mm.
      await untilText(page, "#measured", "14.0 mm");
      await untilText(page, "#measured", "7.0 mm");
      const high = await page.evaluate(() => Math.min(...[...document.querySelectorAll("button, summary")].map((node) => node.offsetHeight)));
      assert.ok(high >= Math.floor(20 * 6.0047), `what is pressed is ${high} pixels high`);
      await page.goto(at("/"));
      await page.waitForFunction(() => document.documentElement.dataset.reading);
      await page.goto(at("setup"));
      await page.waitForFunction(() => document.getElementById("card-width").value === "514");
      await page.locator("#distance").fill("3");
      await page.locator("#fits").click();
      await page.locator("#too-small").waitFor();
      await untilText(page, "#too-small", "too small to be read from 3 m");
      await page.locator("#forget").click();
      await untilText(page, "#measured", "not measured yet");
    }));

  test("language_light_and_units_hold_at_once_and_on_every_page", () =>
    open("setup", async (page) => {
      await page.getByLabel("Deutsch").check();
      await page.waitForFunction(() => document.documentElement.lang === "de");
      await untilText(page, "h1", "diese Anzeige");
      await page.getByLabel("Nacht", { exact: true }).check();
      assert.equal(await page.evaluate(() => document.documentElement.dataset.palette), "night");
      await page.getByLabel("Unzen").check();
      await page.goto(at("/"));
      await page.waitForFunction(() => document.documentElement.lang === "de" && document.documentElement.dataset.palette === "night");
      await page.goto(at("drawers"));
      await untilText(page, "h1", "Schubladen");
      await untilText(page, ".stock td", "oz");
      // What programs read stays as it is.
      const line = await page.evaluate(async () => (await (await fetch("api/v1/drawers")).json()).stock[0]);
      assert.equal(typeof line.mass_g, "number");
      await page.goto(at("setup"));
      await page.getByLabel("English").check();
      await page.waitForFunction(() => document.documentElement.lang === "en");
    }));

  test("the_first_picture_has_the_light_and_the_sizes_of_this_display_before_a_script_runs", async () => {
    const { page, errors, close } = await openPage(browser, at("setup"));
    await page.waitForFunction(() => document.getElementById("measured").textContent !== "");
    await page.locator("#card-width").fill("514");
    await page.locator("#distance").fill("1.2");
    await page.locator("#fits").click();
    await page.getByLabel("night", { exact: true }).check();
    const looks = () => {
      const { palette, reading } = document.documentElement.dataset;
      const style = getComputedStyle(document.documentElement);
      return [palette, reading, ...["mm", "label", "digit", "touch"].map((name) => style.getPropertyValue(`--${name}`))];
    };
    await page.goto(at("/"));
    await page.waitForFunction(() => document.body.dataset.drawn);
    const live = await page.evaluate(looks);
    const still = await browser.newContext({ javaScriptEnabled: false, viewport: page.viewportSize() });
    await still.addCookies(await page.context().cookies());
    const first = await still.newPage();
    first.on("console", (message) => errors.push(message.text()));
    await first.goto(at("/"));
    assert.deepEqual(await first.evaluate(looks), live);
    // 514 pixels for a card of 85.60 mm.
    assert.deepEqual(live.slice(0, 3), ["night", "far", "6.005px"]);
    // The policy lets nothing else in that is written into the page.
    await page.evaluate(() => document.body.insertAdjacentHTML("beforeend", "<style>body { outline: 3px solid }</style>"));
    assert.equal(await page.evaluate(() => getComputedStyle(document.body).outlineStyle), "none");
    assert.equal(errors.length, 1, errors.join("\n"));
    await still.close();
    await close();
  });

  test("a_german_browser_gets_german_unasked", () =>
    open("drawers", async (page) => untilText(page, "h1", "Schubladen"), { locale: "de-AT" }));

  test("every_sound_can_be_tried_and_all_be_off", () =>
    open("setup", async (page) => {
      assert.equal(await page.locator("#sound-tries button").count(), 4);
      await page.locator('[data-sound="refused"]').click();
      await page.getByLabel("sounds on the bench display").uncheck();
      assert.equal(await page.evaluate(() => localStorage.getItem("bench-sounds")), "off");
      await page.reload();
      assert.equal(await page.getByLabel("sounds on the bench display").isChecked(), false);
    }));

  test("drawers_are_counted_refilled_taken_from_and_put_back", async () => {
    await bench.command({ command: "import_order", file: "w-7001.toml", text: ORDER });
    await open("drawers", async (page) => {
      await untilText(page, "[data-part=take]", "No club is open");
      const item = (await bench.get("api/v1/drawers")).stock[0].item;
      const row = page.locator(".stock tbody tr").first();
      await row.getByRole("spinbutton").fill("7");
      await row.getByRole("button", { name: /^counted/ }).click();
      await page.waitForFunction(() => document.querySelector(".stock .count b").textContent === "7");
      assert.equal(await stock(item), 7);
      await row.getByRole("spinbutton").fill("5");
      await row.getByRole("button", { name: /^added/ }).click();
      await page.waitForFunction(() => document.querySelector(".stock .count b").textContent === "12");
      assert.equal(await stock(item), 12);
      await bench.command({ command: "open_order", order: "W-7001" });
      await page.getByRole("button", { name: "take it" }).waitFor();
      await page.locator('select[name="place"]').selectOption({ index: 1 });
      await page.getByRole("button", { name: "take it" }).click();
      await page.waitForFunction(() => document.querySelector(".stock .count b").textContent === "11");
      await page.locator('input[name="why"]').fill("another one");
      await page.getByRole("button", { name: "put back" }).click();
      await untilText(page, ".taking", "put back: another one");
      assert.equal(await stock(item), 12);
      await row.getByRole("spinbutton").fill("0");
      await row.getByRole("button", { name: /^counted/ }).click();
      await untilText(page, ".low-line", item);
    });
  });

  test("the_set_view_is_two_steps_away_and_says_what_to_do_while_it_is_empty", async () => {
    // Seven, eight and nine: steps of 1/2 in, and 4 and 5 deg of loft; the line through 34, 38, 43 deg over their places is off by
    // equal shares at both steps, 0.5 deg (least squares: slope 4.5).
    const club = (name, length, loft) => `[[club]]\nname = "${name}"\nkind = "iron"\nlength = "${length} in ± 1/8 in"\nloft = "${loft} deg ± 0.5 deg"\n`;
    const text = `order = "W-7002"\n${club("7-iron", "37", 34)}${club("8-iron", "36 1/2", 38)}${club("9-iron", "36", 43)}`;
    await bench.command({ command: "import_order", file: "w-7001.toml", text: ORDER });
    await bench.command({ command: "import_order", file: "w-7002.toml", text });
    await open("/", async (page) => {
      await page.locator(".ways-menu summary").click();
      await page.locator('.ways-menu a[href="orders"]').click();
      await page.getByRole("link", { name: "set view of W-7001" }).click();
      await untilText(page, ".empty", "Two clubs or more must have a length");
      await page.goto(at("orders/W-7002/set"));
      await untilText(page, "#set-loft", "loft");
      const lofts = await page.locator('[data-part="set-loft"] tbody tr').evaluateAll((rows) => rows.map((row) => [...row.children].slice(1).map((cell) => cell.textContent)));
      assert.deepEqual(lofts.map(([value, , step]) => [value, step]), [["34.0°", "+4.0°"], ["38.0°", "+5.0°"], ["43.0°", "–"]]);
      await page.waitForFunction(() => document.querySelector(".set-picture").naturalWidth > 100);
    });
    await looksGood(browser, at("orders/W-7002/set"), "set", { data_bytes: 40_000 });
  });

  test("both_pages_can_be_seen_reached_and_pressed_at_every_size", async () => {
    await looksGood(browser, at("setup"), "setup");
    await looksGood(browser, at("drawers"), "drawers");
    // On a phone, with buttons for a finger, its words had the width of a letter, and the ways stood before everything.
    const phone = { width: 390, height: 844, finger: true };
    await open("drawers", async (page) => {
      const [rows, main, current] = await page.evaluate(() => [
        [...document.querySelectorAll(".stock tbody tr")].map((row) => row.offsetHeight),
        document.querySelector("main").getBoundingClientRect().top,
        document.querySelector('.ways [aria-current="page"]').getBoundingClientRect().right,
      ]);
      assert.ok(rows.length > 3 && Math.max(...rows) < 260, `rows are ${rows} px high`);
      assert.ok(main < 280, `the page begins ${main} px below the top`);
      assert.ok(current > 0 && current <= 390, `the way to this page ends at ${current}`);
    }, phone);
    for (const path of ["setup", "drawers"]) {
      await open(path, async (page) => assert.deepEqual(await violations(page), [], path), { locale: "de", zoom: 2 });
    }
  });
});

test("empty_drawers_say_what_to_do", async () => {
  const bench = await startOwnBench();
  const browser = await launch();
  const { page, errors, close } = await openPage(browser, new URL("drawers", bench.url).href, { width: 1280, height: 800 });
  await untilText(page, "[data-part=stock]", "The drawers are empty");
  await untilText(page, "[data-part=stock]", "config/kits/demo.toml");
  assert.equal(await page.locator("form").count(), 0);
  assert.deepEqual(errors, []);
  await close();
  await looksGood(browser, new URL("drawers", bench.url).href, "drawers-empty");
  await browser.close();
  await bench.stop();
});
