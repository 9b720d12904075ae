// How soon the bench display stands on a slow tablet, and what it costs on the wire.
//
// Asked: under 300 ms and 150 kB (the project's display requirements). What is measured, all from the start of the navigation:
// `read`: the club and what comes next are painted (Element Timing, a draft of the W3C, as Chromium has it), and with them the last
// digits, which stand in the same answer;
// `live`: the page has drawn a message of the stream (a mark that it sets itself).
// Times on a machine that does other things prove nothing, so they are printed; what is held to is counted or compared: bytes on the wire, round
// trips in a row, what a second visit costs, and that the page is read before it is live. The profiles are those that browsers' own tools
// offer: a processor four times slower; 1.6 Mbit/s with 150 ms (fast 3G); 20 Mbit/s with 10 ms for a workshop's radio network (common
// practice, no source).

import { after, before, describe, test } from "node:test";
import assert from "node:assert/strict";
import { ORDER, startOwnBench } from "./own_bench.mjs";
import { launch } from "./support.mjs";

const MOST_BYTES = 150_000;
const MOST_BYTES_AGAIN = 5_000;
// The page, its style sheet, its messages, its script, its sign.
const MOST_FILES = 5;
const PROFILES = {
  "this machine": { slower: 1, latency: 0, bits: 0 },
  "slow tablet, radio network": { slower: 4, latency: 10, bits: 20_000_000 },
  "slow tablet, fast 3G": { slower: 4, latency: 150, bits: 1_600_000 },
};

describe("speed", () => {
  let bench;
  let browser;
  before(async () => {
    bench = await startOwnBench();
    browser = await launch();
    await bench.command({ command: "import_order", text: ORDER });
    await bench.command({ command: "open_order", order: "W-7001" });
    // One reading, so that there are digits while the next part is called for.
    bench.lay("parts-scale", 203.2);
    await bench.until("api/v1/state", (state) => state.captures.some((capture) => capture.filed.length > 0));
    bench.lift("parts-scale");
    await bench.until("api/v1/state", (state) => state.instruments.every((instrument) => instrument.phase !== "held"));
  });
  after(async () => {
    await browser?.close();
    await bench?.stop();
  });

  /** Milliseconds until the page is read and live, and bytes on the wire, on the first and on the second visit. */
  async function visits({ slower, latency, bits }, locale) {
    const context = await browser.newContext({ locale, viewport: { width: 1280, height: 800 } });
    const page = await context.newPage();
    const protocol = await context.newCDPSession(page);
    await protocol.send("Network.enable");
    const throughput = bits === 0 ? -1 : bits / 8;
    await protocol.send("Network.emulateNetworkConditions", { offline: false, latency, downloadThroughput: throughput, uploadThroughput: throughput });
    await protocol.send("Emulation.setCPUThrottlingRate", { rate: slower });
    let bytes = 0;
    let files = 0;
    const streams = new Set();
    protocol.on("Network.responseReceived", ({ requestId, response }) => response.mimeType === "text/event-stream" && streams.add(requestId));
    protocol.on("Network.loadingFinished", ({ requestId, encodedDataLength }) => {
      if (streams.has(requestId) || encodedDataLength === 0) return;
      bytes += encodedDataLength;
      files += 1;
    });
    const found = [];
    for (let visit = 0; visit < 2; visit += 1) {
      [bytes, files] = [0, 0];
      await page.goto(bench.url, { waitUntil: "commit" });
      await page.waitForFunction(() => performance.getEntriesByName("bench-live").length > 0);
      const times = await page.evaluate(
        () =>
          new Promise((resolve) => {
            const observer = new PerformanceObserver((list) => {
              const painted = new Map();
              for (const { identifier, renderTime } of list.getEntries()) if (!painted.has(identifier)) painted.set(identifier, renderTime);
              const live = performance.getEntriesByName("bench-live")[0].startTime;
              resolve({ seen: [...painted.keys()].sort(), read: Math.max(...painted.values()), live });
            });
            observer.observe({ type: "element", buffered: true });
          }),
      );
      await page.waitForLoadState("load");
      found.push({ ...times, bytes, files });
    }
    await context.close();
    return found;
  }

  test("the_bench_display_is_light_and_asks_for_everything_at_once", async (t) => {
    const html = await (await fetch(bench.url)).text();
    assert.match(html, /<h1 id="club-title"[^>]*>driver<\/h1>/);
    assert.match(html, /<dd elementtiming="digits">203\.\d+ g<span class="fact-verdict" data-verdict="within"> [+−]?0\.\d+ g within<\/span>/);
    for (const locale of ["en-GB", "de-DE"]) {
      for (const [name, profile] of Object.entries(PROFILES)) {
        const [first, second] = await visits(profile, locale);
        const words = ({ read, live, bytes, files }) =>
          `read after ${read.toFixed(0)} ms, live after ${live.toFixed(0)} ms, ${(bytes / 1000).toFixed(0)} kB in ${files} files`;
        t.diagnostic(`${name}, ${locale}: ${words(first)}; again: ${words(second)}`);
        for (const visit of [first, second]) {
          assert.deepEqual(visit.seen.filter((what) => what !== "digits"), ["club", "next"], `${name}: what is painted before the script draws`);
          assert.ok(visit.read < visit.live, `${name}: read after ${visit.read} ms, live after ${visit.live} ms`);
        }
        assert.ok(first.bytes > 10_000 && first.bytes < MOST_BYTES, `${name}: ${first.bytes} bytes`);
        assert.ok(first.files <= MOST_FILES, `${name}: ${first.files} files`);
        // The page itself alone: everything else is kept by its name.
        assert.ok(second.bytes < MOST_BYTES_AGAIN && second.files === 1, `a second visit costs ${second.bytes} bytes in ${second.files} files`);
      }
    }
    // What waits for what: each 200 ms of latency more make the display later by so many times 200 ms.
    const live = async (latency) => Math.min(...[(await visits({ slower: 1, latency, bits: 0 }, "de-DE"))[0].live, (await visits({ slower: 1, latency, bits: 0 }, "de-DE"))[0].live]);
    const rounds = ((await live(250)) - (await live(50))) / 200;
    t.diagnostic(`round trips in a row: ${rounds.toFixed(1)}`);
    // Connection and page; files; stream.
    assert.ok(rounds < 6, `${rounds} round trips in a row`);
  });
});
