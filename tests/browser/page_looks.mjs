// Whether a page beside the bench display can be seen, reached and pressed, at every size and by day and night.
//
// Expected: targets of 48 px by the project's display requirements (WCAG 2.5.8 asks 24 px); contrast of 7:1 by WCAG 2.2
// criterion 1.4.6, as axe-core measures it; a visible focus by criterion 2.4.7; 150 kB for a page with all it loads.

import assert from "node:assert/strict";
import { mkdir } from "node:fs/promises";
import { join } from "node:path";
import { loaded, openPage, violations } from "./support.mjs";

const SIZES = [
  [390, 844],
  [1280, 800],
  [1920, 1080],
];
const MOST_BYTES = 150_000;

/** Looks at a page at every size; keeps pictures named `name` where BENCHSCRIBE_ARTEFACTS is set. */
export async function looksGood(browser, url, name, { ready = "main", data_bytes = 0, busy = false } = {}) {
  const folder = process.env.BENCHSCRIBE_ARTEFACTS;
  if (folder) await mkdir(folder, { recursive: true });
  for (const colorScheme of ["light", "dark"]) {
    for (const [width, height] of SIZES) {
      const { page, errors, close } = await openPage(browser, url, { width, height, colorScheme });
      const at = `${name} at ${width}, ${colorScheme}`;
      await page.locator(ready).first().waitFor();
      await page.waitForFunction(() => document.body.dataset.link === "up");
      const { page_width, small } = await page.evaluate(() => ({
        page_width: document.documentElement.scrollWidth,
        small: [...document.querySelectorAll("button, input:not([type=hidden]), select, summary, a[href]:not(.skip)")]
          .filter((node) => node.checkVisibility())
          .map((node) => [node.textContent.trim(), node.tagName, node.offsetWidth, node.offsetHeight])
          .filter(([, , wide, high]) => wide < 48 || high < 48),
      }));
      assert.ok(page_width <= width, `${at}: the page is ${page_width} wide`);
      assert.deepEqual(small, [], `${at}: too small`);
      assert.deepEqual(await violations(page), [], at);
      assert.deepEqual(errors, [], at);
      if (folder && (colorScheme === "light" || width === 1280)) {
        // A picture of a trace that has run for a while says more.
        await page.waitForFunction(() => {
          const traces = [...document.querySelectorAll('[data-field="trace"]')];
          return traces.every((trace) => Number(/^M([\d.]+)/.exec(trace.getAttribute("d"))?.[1] ?? 0) < 700);
        });
        const night = colorScheme === "dark" ? "-night" : "";
        await page.screenshot({ path: join(folder, `${name}-${width}x${height}${night}.png`), fullPage: width === 390 });
      }
      await close();
    }
  }
  await weighsLittle(browser, url, name, data_bytes);
  // On a busy bench the daemon makes parts anew while the keys are pressed.
  if (!busy) await isReachedByKeyboard(browser, url, name);
}

/** The page with all it loads in the language with the most to carry; `data_bytes` is what the bench's own data may add. */
async function weighsLittle(browser, url, name, data_bytes) {
  const { page, close } = await openPage(browser, url, { locale: "de-DE" });
  await page.waitForFunction(() => document.body.dataset.link === "up");
  const { files, bytes } = await loaded(page);
  assert.ok(files > 3, `${name}: only ${files} answers were weighed`);
  assert.ok(bytes > 10_000 && bytes < MOST_BYTES + data_bytes, `${name} weighs ${bytes} bytes`);
  await close();
}

/** Every control is reached by the tab key, with a focus that can be seen. */
async function isReachedByKeyboard(browser, url, name) {
  const { page, close } = await openPage(browser, url);
  await page.waitForFunction(() => document.body.dataset.link === "up");
  const wanted = await page.evaluate(() => {
    // Of a group of choices the tab key reaches the chosen one; the arrow keys go on from there.
    const one = "input:not([type=hidden], [type=radio]:not(:checked))";
    const controls = [...document.querySelectorAll(`button, a[href], ${one}, select, summary`)];
    const reachable = controls.filter((node) => node.checkVisibility() && !node.disabled);
    reachable.forEach((node, index) => (node.dataset.wanted = String(index)));
    return reachable.length;
  });
  const reached = new Set();
  for (let press = 0; press < 2 * wanted + 40 && reached.size < wanted; press += 1) {
    await page.keyboard.press("Tab");
    const here = await page.evaluate(() => {
      const node = document.activeElement;
      const style = getComputedStyle(node);
      const box = node.closest(".drop");
      const seen = (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 3) || box !== null;
      return { wanted: node.dataset.wanted, seen, body: node === document.body, name: `${node.tagName} ${node.textContent.slice(0, 30)}` };
    });
    if (here.body) continue;
    assert.ok(here.seen, `${name}: no visible focus on ${here.name}`);
    if (here.wanted !== undefined) reached.add(here.wanted);
  }
  assert.equal(reached.size, wanted, `${name}: controls that were reached`);
  await close();
}
