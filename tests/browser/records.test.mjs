// The records: the list, a club with everything that ever stood in it, and the evidence behind one reading.
//
// Expected: swing weight and limits as the order of the test states them; SHA-256 as node's own crypto computes it.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { join } from "node:path";
import { ORDER, startOwnBench } from "./own_bench.mjs";
import { looksGood } from "./page_looks.mjs";
import { aroundTests, launch, onPage, openPage, untilText } from "./support.mjs";

describe("records", () => {
  let bench;
  let browser;
  aroundTests(startOwnBench, (...started) => ([bench, browser] = started));
  const at = (path) => new URL(path, bench.url).href;
  const open = (path, body, options) => onPage(browser, at(path), body, options);
  const weigh = async (grams) => {
    const before = (await bench.get("api/v1/state")).captures.length;
    bench.lay("parts-scale", grams);
    const { captures } = await bench.until("api/v1/state", (state) => state.captures.length > before && state.captures[0].filed.length > 0);
    bench.lift("parts-scale");
    await bench.until("api/v1/state", (state) => state.instruments.find(({ id }) => id === "parts-scale").phase === "empty");
    return captures[0];
  };
  const record = () => bench.get("api/v1/records/W-7001/1");
  let token;

  test("an_empty_list_says_what_to_do", async () => {
    await open("records", (page) => untilText(page, "main", "A record begins with an order"));
    await looksGood(browser, at("records"), "records-empty");
  });

  test("a_club_shows_every_value_with_its_history", async () => {
    await bench.command({ command: "import_order", text: ORDER });
    await bench.command({ command: "open_order", order: "W-7001" });
    await bench.until("api/v1/state", (state) => state.instruments.find(({ id }) => id === "parts-scale").phase === "empty");
    await weigh(203.2);
    const second = await weigh(203.4);
    await weigh(206.9);
    await bench.command({ command: "void", event: second.event, why: "the part was touched" });
    ({ token } = await record());
    await open("records", async (page) => {
      await page.getByRole("link", { name: "W-7001/1" }).click();
      await untilText(page, "h1", "W-7001/1 driver");
      const rows = await page
        .locator('[data-part="values"] tbody tr')
        .evaluateAll((all) =>
          all.map((row) => [
            row.dataset.standing,
            row.querySelector(".measured").textContent,
            row.querySelector(".history")?.textContent ?? "",
          ]),
        );
      assert.deepEqual(
        rows.map(([standing, value]) => [standing, value]),
        [
          ["superseded", "203.2 g"],
          ["void", "203.4 g"],
          ["counts", "206.9 g"],
        ],
      );
      assert.ok(rows[1][2].includes("the part was touched"), rows[1][2]);
      assert.ok((await page.locator('[data-part="values"]').textContent()).includes("201.0 g to 205.0 g"));
      await untilText(page, '[data-standing="counts"]', "over");
      await page.getByText("what each uncertainty is made of").click();
      await untilText(page, '[data-part="values"] .lines', "resolution");
      assert.equal(await page.locator(".curve .walk").count(), 3);
      assert.equal(await page.locator(".curve .window").count(), 3);
      const { chain } = await record();
      await untilText(page, '[data-part="steps"]', chain);
    });
  });

  test("a_record_is_shown_in_the_units_of_the_display", async () => {
    await bench.command({ command: "enter", characteristic: "length", quantity: "45 1/4 in" });
    // 28.349523125 g are an avoirdupois ounce, 25.4 mm an inch, exactly (NIST Handbook 44, Appendix C): 206.9 g, 201 g and 205 g are
    // 7.298, 7.090 and 7.231 oz, 3.9 g 0.138 oz; 45 1/4 in are 1149.35 mm.
    const { page, errors, close } = await openPage(browser, at(`records/${token}`), { kept: { "bench-masses": "oz", "bench-lengths": "mm" } });
    await page.waitForFunction(() => document.body.dataset.link === "up");
    // Value, expanded uncertainty, limits, deviation.
    const cells = async (row) => (await page.locator(row).locator("td").allTextContents()).slice(0, 4);
    const [value, expanded, limits, deviation] = await cells('[data-standing="counts"]:has-text("head mass")');
    // The scale shows hundredths and trembles by one or two of them: a thousandth of an ounce is 0.03 g.
    assert.match(value, /^7\.29[789] oz$/);
    assert.match(deviation, /^\+0\.13[789] oz$/);
    assert.equal(limits, "7.090 oz to 7.231 oz");
    assert.match(expanded, /^± 0\.\d+ oz$/);
    assert.equal((await cells('[data-standing="counts"]:has-text("length")'))[0], "1149.4 mm");
    // A value that comes while the page is open is in the same units.
    await bench.command({ command: "enter", characteristic: "length", quantity: "45 in" });
    await page.waitForFunction(() => [...document.querySelectorAll('[data-standing="counts"] .measured')].some((cell) => cell.textContent === "1143.0 mm"));
    assert.deepEqual(errors, []);
    await close();
  });

  test("clubs_are_found_by_club_order_and_player", async () => {
    for (const [find, count] of [
      ["W-7001/2", 1],
      ["W-7001", 2],
      ["P-3", 2],
      ["nobody", 0],
    ])
      await open("records", async (page) => {
        await page.getByLabel("club, order or player").fill(find);
        await page.getByRole("button", { name: "look for it" }).click();
        await page.waitForURL(/find=/);
        assert.equal(await page.locator('[data-part="clubs"] tbody tr').count(), count, find);
        if (count === 0) await untilText(page, '[data-part="clubs"]', "No club, order or player is “nobody”");
      });
  });

  test("the_page_follows_the_bench", () =>
    open(`records/${token}`, async (page) => {
      await bench.command({ command: "step_done", step: "prepare" });
      await untilText(page, '[data-part="steps"]', "prepare the parts");
    }));

  test("a_reading_shows_its_curve_and_its_raw_frames", async () => {
    const entry = (await record()).entries.find(({ voided }) => !voided);
    await open(`records/${token}`, async (page) => {
      await page.locator('tr[data-standing="counts"]').getByRole("link", { name: "reading" }).click();
      await untilText(page, "h1", "206.9 g");
      assert.equal(await page.locator(".curve").count(), 2);
      const frame = page.locator("tr[data-window]").last();
      const [text, bytes] = await frame.locator("code").allTextContents();
      // The hexadecimal bytes say what the text shows; what cannot be printed is escaped.
      const escaped = { 9: "\\t", 10: "\\n", 13: "\\r", 34: '\\"', 39: "\\'", 92: "\\\\" };
      const shown = bytes.split(" ").map((byte) => {
        const code = Number.parseInt(byte, 16);
        return escaped[code] ?? (code < 0x20 || code > 0x7e ? `\\x${byte}` : String.fromCodePoint(code));
      });
      assert.equal(text, shown.join(""));
      const shown_g = Number(/\d+\.\d+/.exec(text)?.[0]);
      assert.ok(Math.abs(shown_g - 206.9) <= 0.03, text);
      await untilText(page, "main", entry.calibration);
    });
    const { samples, frames, damage } = await bench.get(`api/v1/readings/${entry.event}`);
    assert.deepEqual(damage, []);
    assert.equal(samples.length, frames.length);
  });

  test("the_pages_look_good", async () => {
    await looksGood(browser, at("records"), "records");
    await looksGood(browser, at(`records/${token}`), "record");
    const entry = (await record()).entries.find(({ voided }) => !voided);
    await looksGood(browser, at(`readings/${entry.event}`), "reading");
  });

  test("damaged_evidence_is_said_not_hidden", async () => {
    const entries = (await record()).entries;
    const voided = entries.find((entry) => entry.voided);
    const counts = entries.find((entry) => !entry.voided);
    const { evidence } = await bench.get(`api/v1/readings/${counts.event}`);
    const other = (await bench.get(`api/v1/readings/${voided.event}`)).evidence;
    // The database refuses changes; somebody who takes its triggers away can make them.
    const script = `
import sqlite3, sys
db = sqlite3.connect(sys.argv[1], timeout=30)
for change in ("changed", "deleted"):
    db.execute(f"DROP TRIGGER evidence_is_never_{change}")
content = db.execute("SELECT content FROM evidence WHERE sha256 = ?", (sys.argv[2],)).fetchone()[0]
db.execute("UPDATE evidence SET content = ? WHERE sha256 = ?", (content.replace(b"2", b"3", 1), sys.argv[2]))
db.execute("DELETE FROM evidence WHERE sha256 = ?", (sys.argv[3],))
db.commit()
`;
    execFileSync("python3", ["-c", script, join(bench.data, "journal.sqlite"), evidence, other]);
    await open(`records/${token}`, async (page) => {
      await untilText(page, '[data-part="state"]', "2 of these readings");
      await untilText(page, '[data-part="curves"]', "raw bytes of this reading were changed");
      await untilText(page, '[data-part="curves"]', "raw bytes of this reading are missing");
    });
    await open(`readings/${voided.event}`, async (page) => {
      await untilText(page, ".alarm", "raw bytes of this reading are missing");
      await untilText(page, "main", "There is nothing to show");
    });
    assert.ok((await bench.get(`api/v1/readings/${counts.event}`)).damage[0].includes("changed"));
    await looksGood(browser, at(`records/${token}`), "record-damaged");
  });

  test("what_is_not_there_is_said_in_words", async () => {
    for (const [path, words] of [
      ["records/nobody", "there is no club nobody"],
      ["readings/x", "is not the id of an event"],
      ["readings/00000000-0000-7000-8000-000000000000", "there is no event"],
    ]) {
      const answer = await fetch(at(path));
      assert.equal(answer.status, 404, path);
      assert.ok((await answer.text()).includes(words), path);
    }
    const { status, detail } = await bench.get("api/v1/readings/x");
    assert.equal(status, 400);
    assert.ok(detail.includes("not an event's id"));
  });

  test("a_step_is_done_again_and_taken_back_beside_it", async () => {
    await bench.command({ command: "open_club", club: "W-7001/2" });
    await bench.command({ command: "step_done", step: "grip" });
    const steps = async () => (await bench.get("api/v1/records/W-7001/2")).steps.length;
    await open(`records/${encodeURIComponent("W-7001/2")}`, async (page) => {
      const part = page.locator('[data-part="steps"]');
      await part.locator("summary", { hasText: "do it again" }).click();
      await untilText(page, '[data-part="steps"]', "Grip solvent is flammable");
      await part.getByRole("button", { name: "the cautions are read: do it again" }).click();
      await page.waitForFunction(() => document.querySelectorAll('[data-part="steps"] ol.lines > li').length === 2);
      assert.equal(await steps(), 2);
      await part.locator("summary", { hasText: "take it back" }).last().click();
      await part.getByLabel("why").last().fill("the card of another club");
      await part.getByRole("button", { name: "take it back" }).last().click();
      await untilText(page, '[data-part="steps"]', "taken back: the card of another club,");
      assert.equal(await steps(), 1);
      if (process.env.BENCHSCRIBE_ARTEFACTS) await part.screenshot({ path: join(process.env.BENCHSCRIBE_ARTEFACTS, "steps-taken-back.png") });
    });
    // In the other language nothing of it stays English but what a person wrote.
    await open(
      `records/${encodeURIComponent("W-7001/2")}`,
      async (page) => {
        await untilText(page, '[data-part="steps"]', "zurückgenommen: the card of another club,");
        const words = await page.locator('[data-part="steps"]').textContent();
        assert.ok(words.includes("noch einmal tun") && !words.includes("take it back"), words);
      },
      { locale: "de-DE" },
    );
    await looksGood(browser, at(`records/${encodeURIComponent("W-7001/2")}`), "record-steps");
  });
});

describe("records of a bench at work", { skip: process.env.BENCHSCRIBE_URL ? false : "BENCHSCRIBE_URL is not set" }, () => {
  const url = process.env.BENCHSCRIBE_URL;

  test("the_pages_look_good", async () => {
    const browser = await launch();
    await looksGood(browser, new URL("records", url).href, "records-at-work", { busy: true, data_bytes: 30_000 });
    const { records } = await (await fetch(new URL("api/v1/records", url))).json();
    const fullest = records.toSorted((a, b) => b.entries - a.entries)[0];
    // The curves of a club are its own: about 4 kB each.
    await looksGood(browser, new URL(`records/${fullest.token}`, url).href, "record-at-work", { busy: true, data_bytes: 120_000 });
    await browser.close();
  });
});
