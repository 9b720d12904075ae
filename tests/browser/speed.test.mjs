// How soon the bench display stands on a slow tablet, and what it costs on the wire.
//
// Asked: under 300 ms and 150 kB (the project's display requirements). What is measured, all from the start of the navigation:
// `read`: the club and what comes next are painted (Element Timing, a draft of the W3C, as Chromium has it), and with them the last
// digits, which stand in the same answer;
// `live`: a message of the stream is drawn (a mark that the page sets itself, at the start of the frame after that).
// Times on a machine that does other things prove nothing, so they are printed beside what a page with one heading takes there; what is held
// to is counted or compared: bytes on the wire, round trips in a row, what a second visit costs, and that the page is read before it is live.
//
// A slow tablet is one whose processor stands in the middle of the middle class of mobile devices (125 to 800, `tablet.mjs`): the square
// root of both, 316. This machine's processor is slowed by what it is faster than that, at most four times, as browsers' own tools offer it. Networks: 1.6 Mbit/s
// with 150 ms (fast 3G, from the same tools); 20 Mbit/s with 10 ms for a workshop's radio network (common practice, no source).

import { after, before, describe, test } from "node:test";
import assert from "node:assert/strict";
import { createServer } from "node:http";
import { ORDER, startOwnBench } from "./own_bench.mjs";
import { startTablet } from "./tablet.mjs";

const MOST_BYTES = 150_000;
// The page with its style sheet.
const MOST_BYTES_AGAIN = 15_000;
// The page, its messages, the script that makes it live, its sign.
const MOST_FILES = 4;
const TABLET_INDEX = Math.sqrt(125 * 800);
const profiles = (slower) => ({
  "this machine": { slower: 1, latency: 0, bits: 0 },
  "slow tablet, radio network": { slower, latency: 10, bits: 20_000_000 },
  "slow tablet, fast 3G": { slower, latency: 150, bits: 1_600_000 },
});
const HEADING = '<!doctype html><title>heading</title><link rel="icon" href="data:,"><h1 elementtiming="heading">driver</h1>';
// Often enough that a moment of quiet is among them.
const LOOKS = 3;

describe("speed", () => {
  let bench;
  let tablet;
  let heading;
  before(async () => {
    bench = await startOwnBench();
    tablet = await startTablet();
    heading = createServer((_, response) => response.writeHead(200, { "content-type": "text/html", "cache-control": "no-store" }).end(HEADING));
    await new Promise((resolve) => heading.listen(0, "127.0.0.1", resolve));
    // A scale that has not found its zero yet would never call what lies on it settled.
    await bench.until("api/v1/state", (state) => state.instruments.some(({ id, phase }) => id === "parts-scale" && phase === "empty"));
    await bench.command({ command: "import_order", text: ORDER });
    await bench.command({ command: "open_order", order: "W-7001" });
    // One reading, so that there are digits while the next part is called for.
    bench.lay("parts-scale", 203.2);
    await bench.until("api/v1/state", (state) => state.captures.some((capture) => capture.filed.length > 0));
    bench.lift("parts-scale");
    await bench.until("api/v1/state", (state) => state.instruments.every((instrument) => instrument.phase !== "held"));
  });
  after(async () => {
    await tablet?.stop();
    await bench?.stop();
    heading?.close();
  });

  test("the_bench_display_is_light_and_asks_for_everything_at_once", async (t) => {
    const html = await (await fetch(bench.url)).text();
    assert.match(html, /<h1 id="club-title"[^>]*>driver<\/h1>/);
    assert.match(html, /<dd elementtiming="digits">203\.\d+ g<span class="fact-verdict" data-verdict="within"><svg class="glyph verdict-glyph"[^>]*>.*?<\/svg> [+−]?0\.\d+ g within<\/span>/);
    const index = await tablet.index();
    const slower = Math.min(4, Math.max(1, index / TABLET_INDEX));
    t.diagnostic(`index of this machine: ${index.toFixed(0)}, so a tablet is ${slower.toFixed(1)} times slower`);
    for (const locale of ["en-GB", "de-DE"]) {
      for (const [name, profile] of Object.entries(profiles(slower))) {
        const looks = [];
        for (let look = 0; look < LOOKS; look += 1) {
          const nothing = await tablet.nothing(`http://127.0.0.1:${heading.address().port}/`, profile);
          looks.push([nothing, ...(await tablet.visits(bench.url, profile, locale))]);
        }
        const least = (time) => Math.min(...looks.map(time)).toFixed(0);
        const [, one, other] = looks[0];
        const words = ({ bytes, files }, visit) =>
          `read after ${least((look) => look[visit].read)} ms, live after ${least((look) => look[visit].live)} ms, ${(bytes / 1000).toFixed(0)} kB in ${files} files`;
        t.diagnostic(`${name}, ${locale}, best of ${LOOKS}: ${words(one, 1)}; again: ${words(other, 2)}; one heading: ${least(([nothing]) => nothing)} ms`);
        for (const [, first, second] of looks) {
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
    }
    // What waits for what: each 200 ms of latency more make the display later by so many times 200 ms.
    const once = async (latency) => (await tablet.visits(bench.url, { slower: 1, latency, bits: 0 }, "de-DE", { times: 1 }))[0].live;
    const live = async (latency) => Math.min(await once(latency), await once(latency));
    const rounds = ((await live(250)) - (await live(50))) / 200;
    t.diagnostic(`round trips in a row: ${rounds.toFixed(1)}`);
    // Connection and page; files; stream.
    assert.ok(rounds < 6, `${rounds} round trips in a row`);
  });
});
