// Every page on paper: nothing is cut off, nothing is there that can only be pressed, and it is dark on white although the display is set
// to the night.
//
// Expected: A4 is 210 mm wide (ISO 216), less twice the margin of 12 mm; a pixel of CSS is 1/96 in (CSS Values and Units 4). Contrast of 4.5:1 by WCAG 2.2
// criterion 1.4.3, measured by axe-core. What is on the paper is read by poppler.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdir, mkdtemp, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { SET, stockTheSet } from "./planned_set.mjs";
import { aroundTests, openPage } from "./support.mjs";
import { startWorkedBench } from "./worked_bench.mjs";

const PAPER_PX = Math.floor(((210 - 2 * 12) / 25.4) * 96);

describe("on paper", () => {
  let bench;
  let browser;
  let pages;
  const start = async () => {
    const worked = await startWorkedBench();
    assert.ok((await worked.bench.command({ command: "import_order", text: SET })).ok);
    await stockTheSet(worked.bench);
    return { ...worked, pages: [...worked.pages, "orders/W-7102/plan"] };
  };
  aroundTests(start, (worked, with_browser) => ([{ bench, pages }, browser] = [worked, with_browser]));

  test("no_page_is_cut_off_dark_or_full_of_buttons", async () => {
    const folder = process.env.BENCHSCRIBE_ARTEFACTS ?? (await mkdtemp(join(tmpdir(), "benchscribe-paper-")));
    await mkdir(folder, { recursive: true });
    const wrong = [];
    // The bench display itself is read live, the set-up is of this very screen, and the labels are PDF already.
    for (const path of pages.filter((path) => !["", "setup", "stock/labels"].includes(path))) {
      const { page, close } = await openPage(browser, new URL(path, bench.url).href, {
        width: PAPER_PX,
        height: 1000,
        locale: "de-DE",
        colorScheme: "dark",
        kept: { "bench-palette": "night" },
      });
      await page.waitForFunction(() => document.body.dataset.link === "up");
      await page.emulateMedia({ media: "print", colorScheme: "dark" });
      const found = await page.evaluate(() => {
        const name = (node) => `${node.tagName.toLowerCase()}.${node.className.baseVal ?? node.className} ${node.textContent.trim().slice(0, 40)}`;
        const seen = [...document.querySelectorAll("body, body *")].filter((node) => node.checkVisibility());
        const light = (color) => {
          const [red, green, blue, alpha = 1] = color.match(/[\d.]+/g).map(Number);
          return alpha === 0 || (0.2126 * red + 0.7152 * green + 0.0722 * blue) * alpha + 255 * (1 - alpha) > 150;
        };
        const paints = (node) => node.clientHeight > 12 && node.clientWidth > 12 && node.textContent.trim() !== "" && !node.closest("svg");
        return {
          pressed: seen.filter((node) => node.matches("nav, button, input, select, a.button, summary:not([open] > summary)")).map(name),
          dark: seen.filter((node) => paints(node) && !light(getComputedStyle(node).backgroundColor)).map(name),
          pale: seen.filter((node) => [...node.childNodes].some((child) => child.nodeType === 3 && child.data.trim() !== "") && light(getComputedStyle(node).color) && !node.closest("svg")).map(name),
          wide: seen.filter((node) => node.getBoundingClientRect().right > innerWidth + 1 && node.clientWidth > 1).map(name),
        };
      });
      for (const [what, names] of Object.entries(found)) wrong.push(...names.map((one) => `/${path}: ${what}: ${one}`));
      const file = join(folder, `paper-${path.replace(/[^a-z0-9]+/gi, "-")}.pdf`);
      await writeFile(file, await page.pdf({ format: "A4" }));
      const text = execFileSync("pdftotext", ["-layout", file, "-"], { encoding: "utf8" });
      const heading = await page.locator("h1").textContent();
      if (!text.includes(heading.trim().split(/\s+/)[0])) wrong.push(`/${path}: its heading is not on the paper`);
      await close();
    }
    if (!process.env.BENCHSCRIBE_ARTEFACTS) await rm(folder, { recursive: true });
    assert.deepEqual(wrong, []);
  });
});
