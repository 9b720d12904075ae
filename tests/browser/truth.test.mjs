// What a display must never get wrong, on a bench of the test's own with the real daemon: it is quick, two displays agree, and what
// is not there any more is not shown as if it were.

import assert from "node:assert/strict";
import { writeFile } from "node:fs/promises";
import { join } from "node:path";
import { after, before, describe, test } from "node:test";

import { ORDER, startDemo, startOwnBench } from "./own_bench.mjs";
import { launch, openPage, untilText, violations } from "./support.mjs";

const ARTEFACTS = process.env.BENCHSCRIBE_ARTEFACTS;
const SCALE = "parts-scale";

/** Notes, in the page, what came over its stream and what it drew of it; runs before the page's own scripts. */
function listenIn() {
  const noted = { seq: null, byte_ms: null, delays_ms: [], late_ms: [], drawn: new Map() };
  globalThis.noted = noted;
  const listen = EventSource.prototype.addEventListener;
  EventSource.prototype.addEventListener = function (kind, listener, ...rest) {
    listen.call(
      this,
      kind,
      (event) => {
        if (event.data) {
          const message = JSON.parse(event.data);
          if (kind === "state") noted.seq = message.seq;
          // When the daemon heard the frame: its clock and this page's are those of one machine, at the pace 1.
          const scale = message.instruments.find((one) => one.id === "parts-scale");
          if (typeof scale?.age_ms === "number") noted.byte_ms = Date.parse(message.now) - scale.age_ms;
        }
        listener.call(this, event);
      },
      ...rest,
    );
  };
  addEventListener("DOMContentLoaded", () => {
    // The frame that a change was drawn in has been handed over when the task after it runs.
    const painted = (then) => requestAnimationFrame(() => { const { port1, port2 } = new MessageChannel(); port1.onmessage = then; port2.postMessage(null); });
    const watch = (id, then) => new MutationObserver(then).observe(document.getElementById(id), { subtree: true, childList: true, characterData: true });
    watch("number", () => {
      const { byte_ms } = noted;
      if (byte_ms !== null && document.getElementById("live").dataset.calling !== "true") painted(() => noted.delays_ms.push(Date.now() - byte_ms));
    });
    const keep = () => {
      const { seq } = noted;
      painted(() => {
        if (seq !== noted.seq) return;
        noted.drawn.set(seq, ["club-title", "club-detail", "club-progress", "sheet", "captures"].map((id) => document.getElementById(id).innerText).join("\n--\n"));
      });
    };
    for (const id of ["club-title", "club-progress", "sheet", "captures"]) watch(id, keep);
    // How late this machine is by itself: a timer that should come every 10 ms.
    let due = performance.now();
    setInterval(() => { noted.late_ms.push(Math.max(0, performance.now() - due - 10)); due = performance.now(); }, 10);
  });
}

async function openNoted(browser, url) {
  const opened = await openPage(browser, "about:blank", { width: 1280, height: 800 });
  await opened.page.addInitScript(listenIn);
  await opened.page.goto(url);
  return opened;
}

const quantile = (values, share) => [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.floor(share * values.length))];

const empty = (bench) => bench.until("api/v1/state", (state) => state.instruments.find((one) => one.id === SCALE).phase === "empty");

async function opened(settings) {
  const bench = await startOwnBench(settings);
  assert.equal((await bench.command({ command: "import_order", text: ORDER })).status, 200);
  assert.equal((await bench.command({ command: "open_order", order: "W-7001" })).status, 200);
  await empty(bench);
  return bench;
}

describe("truth", () => {
  let browser;
  before(async () => { browser = await launch(); });
  after(() => browser?.close());

  test("the_deviation_is_on_the_page_soon_after_the_instruments_byte", async () => {
    const bench = await opened({ pace: 1 });
    const { page, errors, close } = await openNoted(browser, bench.url);
    await untilText(page, "#club-title", "driver");
    const deadline = AbortSignal.timeout(120_000);
    const count = () => page.evaluate(() => globalThis.noted.delays_ms.length);
    for (let load = 0; (await count()) < 120; load += 1) {
      if (deadline.aborted) assert.fail(`only ${await count()} changes`);
      bench.lay(SCALE, 180 + 7 * (load % 9));
      await new Promise((resolve) => setTimeout(resolve, 1200));
    }
    const { delays_ms, late_ms } = await page.evaluate(() => ({ delays_ms: globalThis.noted.delays_ms, late_ms: globalThis.noted.late_ms }));
    const figures = (values) => Object.fromEntries([["p50", 0.5], ["p95", 0.95], ["p99", 0.99], ["most", 1]].map(([name, share]) => [name, Number(quantile(values, share).toFixed(1))]));
    const found = { changes: delays_ms.length, from_byte_to_page_ms: figures(delays_ms), lateness_of_the_machine_ms: figures(late_ms) };
    console.log(`# ${JSON.stringify(found)}`);
    if (ARTEFACTS) await writeFile(join(ARTEFACTS, "deviation-latency.json"), `${JSON.stringify(found, null, 2)}\n`);
    // The goal is 100 ms, p99 150 ms; the artefact says how near it is. A machine that stands still now and then must not fail the
    // test, a page that waits for something must: the many are held to the goal, the few to not being far off.
    const slack = 4 * found.lateness_of_the_machine_ms.p99;
    const { p50, p95, p99 } = found.from_byte_to_page_ms;
    assert.ok(p50 <= 100 + slack, JSON.stringify(found));
    assert.ok(p95 <= 150 + slack, JSON.stringify(found));
    assert.ok(p99 <= 500 + slack + found.lateness_of_the_machine_ms.most, JSON.stringify(found));
    assert.deepEqual(errors, []);
    await close();
    await bench.stop();
  });

  test("two_displays_never_disagree", async () => {
    const bench = await opened();
    const first = await openNoted(browser, bench.url);
    await untilText(first.page, "#club-title", "driver");
    const second = await openNoted(browser, bench.url);
    await untilText(second.page, "#club-title", "driver");
    for (const mass of [203.4, 204.9, 64.3]) {
      bench.lay(SCALE, mass);
      await bench.until("api/v1/state", (state) => state.instruments.find((one) => one.id === SCALE).phase === "held");
      bench.lift(SCALE);
      await empty(bench);
    }
    for (const command of [
      { command: "operator", operator: "K7" },
      { command: "enter", characteristic: "shaft_mass", quantity: "64.1 g" },
      { command: "void_last", why: "wrong part" },
      { command: "open_club", club: "W-7001/2" },
      { command: "open_club", club: "W-7001/1" },
    ]) {
      assert.equal((await bench.command(command)).status, 200, JSON.stringify(command));
      await new Promise((resolve) => setTimeout(resolve, 150));
    }
    const { seq } = await bench.get("api/v1/state");
    const drawn = [];
    for (const { page } of [first, second]) {
      await page.waitForFunction((last) => globalThis.noted.seq === last, seq);
      await new Promise((resolve) => setTimeout(resolve, 300));
      drawn.push(new Map(await page.evaluate(() => [...globalThis.noted.drawn])));
    }
    const common = [...drawn[0].keys()].filter((one) => drawn[1].has(one));
    assert.ok(common.length >= 5, `only ${common.length} moments were seen by both`);
    for (const one of common) assert.equal(drawn[0].get(one), drawn[1].get(one), `event ${one}`);
    const distinct = new Set(common.map((one) => drawn[0].get(one)));
    assert.ok(distinct.size >= 4, "the moments are all alike, so nothing was compared");
    await first.close();
    await second.close();
    await bench.stop();
  });

  test("a_daemon_that_is_killed_and_comes_back_and_a_plug_that_is_pulled_are_told_and_forgotten", async () => {
    const bench = await opened();
    const { page, close } = await openNoted(browser, bench.url);
    await untilText(page, "#club-title", "driver");
    bench.lay(SCALE, 203.4);
    await untilText(page, "#phase-word", "settled");
    await untilText(page, "#club-progress", "1 of 2 done");

    await bench.kill();
    const began = Date.now();
    await untilText(page, "#banners", "no connection to the bench program");
    await page.waitForFunction(() => document.getElementById("live").dataset.fresh === "aged");
    await page.waitForFunction(() => document.getElementById("live").dataset.fresh === "gone");
    assert.ok(Date.now() - began < 10_000, "dashes come after three seconds");
    assert.match(await page.textContent("#number"), /–/);
    const beat = await page.getAttribute("#beat", "data-beat");
    await new Promise((resolve) => setTimeout(resolve, 500));
    assert.equal(await page.getAttribute("#beat", "data-beat"), beat, "the beat moves without a daemon");

    await bench.restart();
    await page.waitForFunction(() => !document.getElementById("banners").textContent.includes("no connection"), null, { timeout: 30_000 });
    await page.waitForFunction(() => document.getElementById("live").dataset.fresh === "fresh", null, { timeout: 30_000 });
    // What was measured before is there, and the part that still lies there is not captured a second time.
    await untilText(page, "#club-progress", "1 of 2 done");
    const { events } = await bench.get("api/v1/events?after=0");
    assert.equal(events.filter((event) => event.kind === "reading_captured").length, 1);
    bench.lift(SCALE);
    await empty(bench);

    bench.unplug(SCALE);
    await untilText(page, "#banners", "parts scale");
    await untilText(page, "#banners", "plug the instrument in");
    const tile = `.tile[data-id="${SCALE}"]`;
    await untilText(page, `${tile} .tile-text`, "– – –");
    bench.plugIn(SCALE);
    await page.waitForFunction(() => !document.getElementById("banners").textContent.includes("plug the instrument in"), null, { timeout: 30_000 });
    await page.waitForFunction((wanted) => document.querySelector(wanted).dataset.fresh === "fresh", tile);
    await close();
    await bench.stop();
  });

  test("a_whole_club_is_built_while_the_page_is_watched", async () => {
    const demo = await startDemo({ clubs: 2, pace: 4 });
    const { page, errors, close } = await openPage(browser, "about:blank", { width: 1920, height: 1080 });
    await page.addInitScript(() => {
      globalThis.seen = { phases: new Set(), verdicts: new Set(), stages: new Set(), cautions: new Set(), most: new Map(), clubs: new Set() };
      addEventListener("DOMContentLoaded", () => {
        const text = (id) => document.getElementById(id).textContent;
        new MutationObserver(() => {
          seen.phases.add(document.getElementById("live").dataset.phase);
          seen.verdicts.add(document.getElementById("deviation").dataset.verdict);
          seen.stages.add(text("club-detail").split(" · ")[2]);
          for (const caution of document.querySelectorAll(".cautions p")) seen.cautions.add(caution.textContent);
          const club = text("club-detail").split(" · ")[0];
          const done = /^(\d+) of (\d+) done/.exec(text("club-progress"));
          if (done) seen.most.set(club, Math.max(seen.most.get(club) ?? 0, Number(done[1])));
          if (done) seen.clubs.add(club);
        }).observe(document.body, { subtree: true, childList: true, characterData: true, attributes: true });
      });
    });
    await page.goto(demo.url);
    // Until the first of the two is finished and the second one open.
    await page.waitForFunction(() => globalThis.seen?.clubs.size === 2, null, { timeout: 240_000 });
    const seen = await page.evaluate(() => ({ ...Object.fromEntries(["phases", "verdicts", "stages", "cautions"].map((name) => [name, [...seen[name]]])), most: [...seen.most] }));
    for (const phase of ["empty", "settling", "held"]) assert.ok(seen.phases.includes(phase), `${phase} was never seen: ${seen.phases}`);
    assert.ok(seen.verdicts.includes("within"), `${seen.verdicts}`);
    for (const stage of ["part", "dry fit", "bonded", "gripped"]) assert.ok(seen.stages.includes(stage), `${stage} was never seen: ${seen.stages}`);
    for (const words of ["Adhesive", "Grinding", "data sheet"]) assert.ok(seen.cautions.some((text) => text.includes(words)), `no caution about ${words}`);
    const { records } = await demo.get("api/v1/records");
    const finished = records.filter((record) => record.state === "finished");
    assert.equal(finished.length, 1, JSON.stringify(records));
    assert.deepEqual(await violations(page), []);
    assert.deepEqual(errors, []);
    if (ARTEFACTS) await page.screenshot({ path: join(ARTEFACTS, "whole-club.png") });
    await close();
    await demo.stop();
  });

  test("a_builder_without_a_mouse_opens_types_marks_and_voids", async () => {
    const bench = await startOwnBench();
    assert.equal((await bench.command({ command: "import_order", text: ORDER })).status, 200);
    const { page, errors, close } = await openPage(browser, bench.url, { width: 1280, height: 800 });
    // Goes on with the tab key until what is wanted has the focus; presses it.
    const press = async (wanted, key = "Enter") => {
      for (let step = 0; step < 80; step += 1) {
        const has = await page.evaluate((name) => {
          const at = document.activeElement;
          return (at?.getAttribute("aria-label") ?? at?.textContent ?? "").includes(name) && at !== document.body;
        }, wanted);
        if (has) return page.keyboard.press(key);
        await page.keyboard.press("Tab");
      }
      throw new Error(`the tab key never comes to "${wanted}"`);
    };
    await untilText(page, "#call", "open an order");
    await press("W-7001");
    await untilText(page, "#club-title", "driver");
    bench.lay(SCALE, 203.4);
    await untilText(page, "#club-progress", "1 of 2 done");
    bench.lift(SCALE);
    await press("void last");
    await page.waitForSelector("dialog");
    await press("wrong part");
    await untilText(page, "#club-progress", "0 of 2 done");
    await press("type a value");
    await page.waitForSelector("dialog");
    // The list of what it is comes first, then how much.
    while ((await page.evaluate(() => document.activeElement.name)) !== "characteristic") await page.keyboard.press("Tab");
    await page.keyboard.type("shaft mass");
    await page.keyboard.press("Tab");
    await page.keyboard.type("64.2 g");
    await page.keyboard.press("Enter");
    await untilText(page, "#club-progress", "1 of 2 done");
    const step = (await bench.get("api/v1/state")).club.next_step;
    await press("mark done");
    await bench.until("api/v1/state", (state) => state.club.next_step !== step);
    // Out of a dialog again: the focus is where it was.
    await press("type a value");
    await page.waitForSelector("dialog");
    await page.keyboard.press("Escape");
    await page.waitForFunction(() => document.querySelector("dialog") === null);
    assert.equal(await page.evaluate(() => document.activeElement.id), "enter-button");
    assert.deepEqual(errors, []);
    await close();
    await bench.stop();
  });
});
