// German on every page: nothing that a page shows in English is left where German is chosen.
//
// Expected: of two pages made one after the other of the same bench, every text of words that stands in both is a name, a unit, a code
// or a word that the German trade uses itself; these are listed here, and what the bench calls by name is asked of the bench.

import { after, before, describe, test } from "node:test";
import assert from "node:assert/strict";
import { ORDER, startOwnBench } from "./own_bench.mjs";
import { launch, openPage } from "./support.mjs";

// Words of the German workshop, and what is written the same in both languages (common practice, no source).
const BOTH = ["Loft", "Lie", "Driver", "Hybrid", "Wedge", "Putter", "Scanner", "Pedal", "Name", "Text", "Bytes", "Median", "Drift", "Offset", "English", "Deutsch"];

describe("languages", () => {
  let bench;
  let browser;
  let pages;
  before(async () => {
    bench = await startOwnBench({ kits: true });
    browser = await launch();
    const empty = (id) => bench.until("api/v1/state", (state) => state.instruments.find((one) => one.id === id).phase === "empty");
    const done = async (command) => {
      const answer = await bench.command(command);
      assert.equal(answer.status, 200, `${command.command}: ${await answer.text()}`);
    };
    await done({ command: "import_order", text: ORDER });
    await done({ command: "operator", operator: "K7" });
    await done({ command: "open_order", order: "W-7001" });
    const weigh = async (grams) => {
      await empty("parts-scale");
      const before = (await bench.get("api/v1/state")).captures.length;
      bench.lay("parts-scale", grams);
      await bench.until("api/v1/state", (state) => state.captures.length > before);
      bench.lift("parts-scale");
      await empty("parts-scale");
    };
    for (const grams of [203.2, 206.9, 64.1]) await weigh(grams);
    const [last] = (await bench.get("api/v1/records/W-7001/1")).entries.slice(-1);
    await done({ command: "void", event: last.event, why: "the part was touched" });
    await done({ command: "enter", characteristic: "shaft_mass", quantity: "64.2 g" });
    // A check and a calibration on the club scale, a study on the gauge, an intake on the parts scale.
    await empty("club-scale");
    await done({ command: "check_begin", instrument: "club-scale", mass: "1000 g", class: "M1" });
    bench.lay("club-scale", 1000);
    await bench.until("api/v1/instruments/club-scale", (one) => one.checks.weights.length > 0);
    bench.lift("club-scale");
    await empty("club-scale");
    await done({ command: "calibrate_begin", instrument: "club-scale", temperature_c: 21.5 });
    for (const [at, grams] of [500, 1000, 2000].entries()) {
      await done({ command: "calibrate_point", instrument: "club-scale", mass: `${grams} g`, class: "M1" });
      bench.lay("club-scale", grams);
      await bench.until("api/v1/instruments/club-scale", (one) => one.checks.calibrating?.as_found > at);
      bench.lift("club-scale");
      await empty("club-scale");
    }
    await done({ command: "calibrate_adjust", instrument: "club-scale" });
    await done({ command: "study_begin", instrument: "gauge", characteristic: "lie", people: ["K7", "M2"], parts: 2, trials: 2 });
    const { records } = await bench.get("api/v1/records");
    const { token } = records.find((record) => record.club === "W-7001/1") ?? records[0];
    pages = [
      "",
      "instruments",
      "instruments/parts-scale/check",
      "instruments/club-scale/check",
      "instruments/club-scale/calibrate",
      "instruments/gauge/calibrate",
      "instruments/nobody/check",
      "records",
      "records?find=nobody",
      `records/${token}`,
      "records/nobody",
      `readings/${last.event}`,
      "readings/x",
      "orders",
      "orders/W-7001/set",
      "orders/W-1/set",
      "drawers",
      "stock",
      "stock/labels",
      "history",
      "history?since=soon",
      "studies",
      "studies/S-1",
      "studies/S-9",
      "setup",
    ];
  });
  after(async () => {
    await browser?.close();
    await bench?.stop();
  });

  /** Every text that somebody sees or hears, with the language that it is marked with. */
  const texts = async (path, locale) => {
    const { page, close } = await openPage(browser, new URL(path, bench.url).href, { width: 1280, height: 800, locale });
    await page.waitForFunction(() => document.body.dataset.link === "up" || document.getElementById("beat")?.dataset.beat);
    const found = await page.evaluate(() => {
      const all = [document.title];
      const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
      while (walker.nextNode()) {
        const node = walker.currentNode.parentElement;
        if (!node.closest("script, noscript, pre, code, #messages, time")) all.push(walker.currentNode.data);
      }
      for (const node of document.querySelectorAll("[aria-label], [title], [alt], [placeholder]"))
        for (const name of ["aria-label", "title", "alt", "placeholder"]) all.push(node.getAttribute(name) ?? "");
      const marked = [...document.querySelectorAll("main [lang=en], #banners [lang=en], #act [lang=en]")].map((node) => node.textContent.trim());
      return { lang: document.documentElement.lang, all: all.map((text) => text.replace(/\s+/g, " ").trim()), marked };
    });
    await close();
    return found;
  };

  test("no_english_is_left_on_any_page", async () => {
    const { instruments, site, bench: name } = await bench.get("api/v1/state");
    const { stock } = await bench.get("api/v1/drawers");
    // What people have named themselves: instruments, clubs, parts, the shop; places of the drawers are named in the kit's file.
    const names = [site, name, "K7", "driver", "7-iron", "nobody", "the part was touched"];
    for (const { id, name: own, format } of instruments) names.push(own, id, format);
    for (const { item, places, model } of stock) names.push(item, ...places, model ?? "");
    names.sort((a, b) => b.length - a.length);
    const without = (text) => [...names, ...BOTH].filter(Boolean).reduce((rest, own) => rest.replaceAll(own, " "), text);
    // A unit or a code is no word: fewer than three small letters in a row, or it holds a digit, a dot or an underline.
    const isWords = (text) => without(text).split(/[\s,;:()"„“/·]+/).some((word) => /[a-z]{3}/.test(word) && !/[\d._=@[\]]|^cpm$|^deg$|^km|benchscribe|BS1/.test(word));
    const left = [];
    for (const path of pages) {
      const [english, german] = [await texts(path, "en-GB"), await texts(path, "de-DE")];
      assert.deepEqual([english.lang, german.lang], ["en", "de"], path);
      const said = new Set(english.all);
      for (const text of new Set(german.all)) if (said.has(text) && isWords(text)) left.push(`/${path}: ${text}`);
      for (const text of new Set(german.marked)) if (isWords(text)) left.push(`/${path}: marked as English: ${text}`);
    }
    assert.deepEqual(left, []);
  });
});
