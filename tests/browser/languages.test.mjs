// German on every page: nothing that a page shows in English is left where German is chosen.
//
// Expected: of two pages made one after the other of the same bench, every text of words that stands in both is a name, a unit, a code
// or a word that the German trade uses itself; these are listed here, and what the bench calls by name is asked of the bench.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { mkdir } from "node:fs/promises";
import { join } from "node:path";
import { aroundTests, launch, openPage } from "./support.mjs";
import { startDemo } from "./own_bench.mjs";
import { startWorkedBench } from "./worked_bench.mjs";

// Words of the German workshop, and what is written the same in both languages (common practice, no source).
const BOTH = ["Loft", "Lie", "Driver", "Hybrid", "Wedge", "Putter", "Scanner", "Pedal", "Name", "Text", "Bytes", "Median", "Drift", "Offset", "English", "Deutsch"];

describe("languages", () => {
  let bench;
  let browser;
  let pages;
  aroundTests(startWorkedBench, (worked, with_browser) => ([{ bench, pages }, browser] = [worked, with_browser]));

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

  test("long_german_words_fit_at_every_size_and_under_a_finger", async () => {
    const folder = process.env.BENCHSCRIBE_ARTEFACTS;
    if (folder) await mkdir(folder, { recursive: true });
    const wrong = [];
    for (const path of pages) {
      for (const [width, height, finger] of [
        [1280, 800, false],
        [390, 844, false],
        [1280, 800, true],
      ]) {
        const { page, close } = await openPage(browser, new URL(path, bench.url).href, { width, height, locale: "de-DE", finger });
        await page.waitForFunction(() => document.body.dataset.link === "up" || document.getElementById("beat")?.dataset.beat);
        const at = `/${path} ${width} wide${finger ? ", with a finger" : ""}`;
        const found = await page.evaluate(() => {
          const names = (node) => `${node.tagName.toLowerCase()}.${node.className.baseVal ?? node.className} ${node.textContent.trim().slice(0, 40)}`;
          const cut = [...document.querySelectorAll("body *")].filter((node) => {
            const style = getComputedStyle(node);
            const isScrolled = ["auto", "scroll"].includes(style.overflowX);
            const hides = ["hidden", "clip"].includes(style.overflowX) && node.scrollWidth > node.clientWidth + 1;
            return node.checkVisibility() && node.clientWidth > 1 && node.textContent.trim() !== "" && !isScrolled && hides;
          });
          const touch = matchMedia("(pointer: coarse)").matches ? [...document.querySelectorAll("button, .ways a, summary")] : [];
          const small = touch.filter((node) => node.checkVisibility() && node.offsetHeight < 118);
          return { wide: document.documentElement.scrollWidth, cut: cut.map(names), small: small.map(names) };
        });
        if (found.wide > width) wrong.push(`${at}: ${found.wide} wide`);
        wrong.push(...found.cut.map((name) => `${at}: cut off: ${name}`), ...found.small.map((name) => `${at}: too small for a finger: ${name}`));
        const file = `german-${path.replace(/[^a-z0-9]+/gi, "-") || "bench"}-${width}${finger ? "-finger" : ""}.png`;
        if (folder) await page.screenshot({ path: join(folder, file), fullPage: width === 390 });
        await close();
      }
    }
    assert.deepEqual(wrong, []);
  });
});

// What the daemon says comes and goes with the work, so a German display watches a whole day, and then every page that the day has filled is read.
test("no_english_is_left_through_a_whole_day", { timeout: 400_000 }, async () => {
  const demo = await startDemo({ pace: 6 });
  const over = demo.says("the page stays up");
  const browser = await launch();
  try {
    // What has no words in German stands there in English and is marked as English.
    const isEnglish = (text) => /[a-z]{3}/.test(text);
    const { page, close } = await openPage(browser, demo.url, { width: 1280, height: 800, locale: "de-DE" });
    await page.evaluate(() => {
      globalThis.marked = new Set();
      const look = () => document.querySelectorAll("[lang=en]").forEach((node) => globalThis.marked.add(node.textContent.trim()));
      new MutationObserver(look).observe(document.body, { subtree: true, childList: true, characterData: true, attributes: true });
    });
    await over;
    const left = (await page.evaluate(() => [...globalThis.marked])).map((text) => `/: ${text}`);
    await close();
    const { records } = await demo.get("api/v1/records");
    const orders = [...new Set(records.map(({ order }) => order))];
    const paths = ["instruments", "records", "orders", "drawers", "stock", "history", "studies", ...records.map(({ token }) => `records/${token}`), ...orders.flatMap((order) => [`orders/${order}/set`, `orders/${order}/plan`])];
    assert.ok(records.length >= 5 && paths.length > 12, `${paths}`);
    const readings = new Set();
    const read = async (path) => {
      const { page: one, close: closeOne } = await openPage(browser, new URL(path, demo.url).href, { locale: "de-DE" });
      const { marked, links } = await one.evaluate(() => ({
        marked: [...document.querySelectorAll("main [lang=en], #banners [lang=en]")].map((node) => node.textContent.trim()),
        links: [...document.querySelectorAll('a[href*="readings/"]')].map((link) => link.href),
      }));
      left.push(...marked.filter(isEnglish).map((text) => `/${path}: ${text}`));
      // Two clubs have every kind of reading.
      if (readings.size < 30) links.forEach((link) => readings.add(link));
      await closeOne();
    };
    for (const path of paths) await read(path);
    for (const link of readings) await read(link);
    assert.deepEqual(left, []);
  } finally {
    await browser.close();
    await demo.stop();
  }
});
