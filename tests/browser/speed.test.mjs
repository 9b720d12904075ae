// How soon the bench display stands on a slow tablet, and what it costs on the wire.
//
// Asked: under 300 ms and 150 kB (the project's display requirements). Times on a machine that does other things prove nothing, so they are
// printed; what is held to is counted: bytes on the wire, round trips in a row, and what a second visit costs. The profiles are those
// that browsers' own tools offer: a processor four times slower; 1.6 Mbit/s with 150 ms (fast 3G); 20 Mbit/s with 10 ms for a workshop's
// radio network (common practice, no source).

import { after, before, describe, test } from "node:test";
import assert from "node:assert/strict";
import { ORDER, startOwnBench } from "./own_bench.mjs";
import { launch } from "./support.mjs";

const MOST_BYTES = 150_000;
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
  });
  after(async () => {
    await browser?.close();
    await bench?.stop();
  });

  /** Milliseconds to a page with readings on it and bytes on the wire, on the first and on the second visit. */
  async function visits({ slower, latency, bits }, locale) {
    const context = await browser.newContext({ locale, viewport: { width: 1280, height: 800 } });
    const page = await context.newPage();
    const protocol = await context.newCDPSession(page);
    await protocol.send("Network.enable");
    const throughput = bits === 0 ? -1 : bits / 8;
    await protocol.send("Network.emulateNetworkConditions", { offline: false, latency, downloadThroughput: throughput, uploadThroughput: throughput });
    await protocol.send("Emulation.setCPUThrottlingRate", { rate: slower });
    let bytes = 0;
    const streams = new Set();
    protocol.on("Network.responseReceived", ({ requestId, response }) => response.mimeType === "text/event-stream" && streams.add(requestId));
    protocol.on("Network.loadingFinished", ({ requestId, encodedDataLength }) => (bytes += streams.has(requestId) ? 0 : encodedDataLength));
    const found = [];
    for (let visit = 0; visit < 2; visit += 1) {
      bytes = 0;
      await page.goto(bench.url, { waitUntil: "commit" });
      await page.waitForFunction(() => document.getElementById("beat")?.dataset.beat && document.querySelector("#instruments *"));
      // Text has to be there and in its place: the first paint, and when the last of the layout came.
      const { seen, ms } = await page.evaluate(() => ({
        seen: performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? 0,
        ms: performance.now(),
      }));
      await page.waitForLoadState("load");
      found.push({ seen, ms, bytes });
    }
    await context.close();
    return found;
  }

  test("the_bench_display_is_light_and_asks_for_everything_at_once", async (t) => {
    for (const locale of ["en-GB", "de-DE"]) {
      for (const [name, profile] of Object.entries(PROFILES)) {
        const [first, second] = await visits(profile, locale);
        const words = ({ seen, ms, bytes }) => `seen after ${seen.toFixed(0)} ms, live after ${ms.toFixed(0)} ms, ${(bytes / 1000).toFixed(0)} kB`;
        t.diagnostic(`${name}, ${locale}: ${words(first)}; again: ${words(second)}`);
        assert.ok(first.bytes > 10_000 && first.bytes < MOST_BYTES, `${name}: ${first.bytes} bytes`);
        assert.ok(second.bytes < first.bytes / 2, `a second visit costs ${second.bytes} of ${first.bytes} bytes`);
      }
    }
    // What waits for what: each 200 ms of latency more make the display later by so many times 200 ms.
    const live = async (latency) => Math.min(...[(await visits({ slower: 1, latency, bits: 0 }, "de-DE"))[0].ms, (await visits({ slower: 1, latency, bits: 0 }, "de-DE"))[0].ms]);
    const rounds = ((await live(250)) - (await live(50))) / 200;
    t.diagnostic(`round trips in a row: ${rounds.toFixed(1)}`);
    assert.ok(rounds < 10, `${rounds} round trips in a row`);
  });
});
