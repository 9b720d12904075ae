// The page in front of the real daemon: a live deviation moves, nothing goes wrong, and a picture is kept.
//
// BENCHSCRIBE_URL is the page's address (`benchscribe demo` prints one); BENCHSCRIBE_ARTEFACTS a folder for the picture.

import { after, before, describe, test } from "node:test";
import assert from "node:assert/strict";
import { mkdir } from "node:fs/promises";
import { join } from "node:path";
import { launch, openPage, violations } from "../support.mjs";

describe("against the daemon", { skip: process.env.BENCHSCRIBE_URL ? false : "BENCHSCRIBE_URL is not set" }, () => {
  let browser;
  before(async () => {
    browser = await launch();
  });
  after(async () => {
    await browser.close();
  });

  test("the_live_deviation_moves_and_nothing_goes_wrong", async () => {
    const { page, errors, close } = await openPage(browser, process.env.BENCHSCRIBE_URL);
    await page.waitForFunction(() => document.getElementById("beat").dataset.beat);
    const number = () =>
      page.evaluate(() =>
        document.getElementById("digits").hidden || document.getElementById("deviation").hidden
          ? null
          : document.getElementById("number").textContent,
      );
    const isDeviation = () => {
      const shown = !document.getElementById("digits").hidden && !document.getElementById("deviation").hidden;
      return shown && /\d/.test(document.getElementById("number").textContent);
    };
    await page.waitForFunction(isDeviation, null, { timeout: 120_000 });
    const first = await number();
    await page.waitForFunction(
      (before) => {
        const text = document.getElementById("number").textContent;
        return (
          !document.getElementById("digits").hidden && !document.getElementById("deviation").hidden && /\d/.test(text) && text !== before
        );
      },
      first,
      { timeout: 120_000 },
    );
    const folder = process.env.BENCHSCRIBE_ARTEFACTS;
    if (folder) {
      await mkdir(folder, { recursive: true });
      await page.screenshot({ path: join(folder, "bench-1920x1080.png") });
    }
    assert.deepEqual(await violations(page), []);
    assert.deepEqual(errors, []);
    await close();
  });
});
