// Support of the browser tests: one browser, a page that records every console error, waits on conditions.

import { after, before } from "node:test";
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import { createRequire } from "node:module";
import { chromium } from "playwright-core";

const AXE = await readFile(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** A bench and a browser for the tests of one `describe`: `take` is given what `start` has started, and the browser. */
export function aroundTests(start, take) {
  let started;
  let browser;
  before(async () => {
    started = await start();
    browser = await launch();
    take(started, browser);
  });
  after(async () => {
    await browser?.close();
    await (started?.bench ?? started)?.stop();
  });
}

/** Any Chromium will do; `BENCHSCRIBE_BROWSER` names another one than the distribution's. */
export const BROWSER = process.env.BENCHSCRIBE_BROWSER ?? "/usr/bin/chromium";
export const SWITCHES = [
  "--headless",
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--no-first-run",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
];

export const launch = () => chromium.launch({ executablePath: BROWSER, args: SWITCHES });

/** A page with the list of what went wrong in it; `kept` is what the display had been set to, with `finger` it is a tablet. */
export async function openPage(browser, url, { width = 1920, height = 1080, colorScheme = "light", locale = "en-GB", kept = {}, zoom = 1, finger = false } = {}) {
  // A browser that zooms has fewer pixels of the page for the same pixels of the screen.
  const viewport = { width: Math.round(width / zoom), height: Math.round(height / zoom) };
  const context = await browser.newContext({ viewport, deviceScaleFactor: zoom, colorScheme, locale, hasTouch: finger, isMobile: finger });
  // What the daemon makes pages in are cookies.
  const isCookie = ([name]) => /^bench-(language|lengths|masses|palette)$/.test(name);
  await context.addCookies(Object.entries(kept).filter(isCookie).map(([name, value]) => ({ name, value, url: new URL("/", url).href })));
  await context.addInitScript((items) => {
    for (const [name, value] of Object.entries(items)) if (localStorage.getItem(name) === null) localStorage.setItem(name, value);
  }, kept);
  const page = await context.newPage();
  const errors = [];
  page.on("console", (message) => {
    if (message.type() === "error") errors.push(message.text());
  });
  page.on("pageerror", (error) => errors.push(error.message));
  await page.goto(url);
  return { page, errors, close: () => context.close() };
}

/**
 * Does something on a page once it is live; nothing may go wrong in it but what is `expected`. A refused command is an answer of
 * 422, which the browser writes into its console by itself.
 */
export async function onPage(browser, url, body, { expected = null, ...options } = {}) {
  const { page, errors, close } = await openPage(browser, url, { width: 1280, height: 800, ...options });
  await page.waitForFunction(() => document.body.dataset.link === "up" || document.getElementById("beat")?.dataset.beat);
  await body(page);
  assert.deepEqual(
    errors.filter((text) => !expected?.test(text)),
    [],
  );
  await close();
}

/** Waits until the text of an element contains `text`. */
export const untilText = (page, selector, text) =>
  page.waitForFunction(([wanted, inside]) => document.querySelector(wanted)?.textContent.includes(inside), [selector, text]);

/** Waits until an attribute has this value. */
export const untilAttribute = (page, selector, name, value) =>
  page.waitForFunction(
    ([wanted, attribute, expected]) => document.querySelector(wanted)?.getAttribute(attribute) === expected,
    [selector, name, value],
  );

/** Accessibility violations, WCAG A to AAA where a program can tell, as short lines. */
export async function violations(page) {
  if (!(await page.evaluate(() => "axe" in globalThis))) await page.evaluate(AXE);
  const found = await page.evaluate(() =>
    globalThis.axe.run(document, {
      runOnly: ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
      rules: { "color-contrast-enhanced": { enabled: true }, "target-size": { enabled: true } },
    }),
  );
  return found.violations.flatMap((violation) =>
    violation.nodes.map((node) => `${violation.id}: ${node.target.join(" ")} ${node.any[0]?.message ?? ""}`),
  );
}

/**
 * What a page has loaded so far as the browser itself counts it (Resource Timing, `encodedBodySize`: compressed, as it came). The live stream never ends, so
 * it is not among the entries; and nothing is asked of an answer after its page was closed.
 */
export const loaded = (page) =>
  page.evaluate(() => {
    const entries = ["navigation", "resource"].flatMap((kind) => performance.getEntriesByType(kind));
    return { files: entries.length, bytes: entries.reduce((sum, entry) => sum + entry.encodedBodySize, 0) };
  });
