// A browser as slow as a tablet, with nothing in the page that is not the page's own.
//
// Playwright puts a world of its own and its helpers into every page, which on a processor four times slower costs as much as a part of
// the page itself (found in traces: some 60 ms before the first picture). So the browser is told over its own protocol here. In: an address and
// a profile. Out: when the page was read and when it was live, and what it cost on the wire.

import { spawn } from "node:child_process";
import { mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { BROWSER, SWITCHES } from "./support.mjs";

// What the page is asked once it is live: the marks and the moments at which texts were painted (Element Timing).
const TIMES = `new Promise((resolve) => {
  new PerformanceObserver((marks, observer) => {
    if (!marks.getEntriesByName("bench-live").length) return;
    observer.disconnect();
    new PerformanceObserver((list) => {
      const painted = new Map();
      for (const { identifier, renderTime } of list.getEntries()) if (!painted.has(identifier)) painted.set(identifier, renderTime);
      const live = performance.getEntriesByName("bench-live")[0].startTime;
      resolve({ seen: [...painted.keys()].sort(), read: Math.max(...painted.values()), live });
    }).observe({ type: "element", buffered: true });
  }).observe({ type: "mark", buffered: true });
})`;
// And a page that has nothing but a heading.
const PAINTED = `new Promise((resolve) => {
  new PerformanceObserver((list) => resolve({ read: list.getEntries()[0].renderTime })).observe({ type: "element", buffered: true });
})`;

// How fast a processor runs scripts, on the scale of an open audit tool's published device classes (its guide to throttling: desktops
// 1000-2000, mobile devices of the middle class 125-800, simple ones below): the mean of how often a second, in tens, a text of 10 000
// letters is put together and 100 000 numbers are copied, each for half a second.
const INDEX = `(() => {
  const tens = (turn) => {
    const start = performance.now();
    let turns = 0;
    while (performance.now() - start < 500) for (let ten = 0; ten < 10; ten += 1) turn(turns++);
    return turns / 10 / ((performance.now() - start) / 1000);
  };
  const [one, other] = [0, 1].map(() => Array.from({ length: 100_000 }, (_, number) => number));
  const texts = tens(() => {
    let text = "";
    for (let letter = 0; letter < 10_000; letter += 1) text += "a";
    if (text.length === 1) throw new Error("not to be left out");
  });
  const copies = tens((turn) => {
    const [from, to] = turn % 2 ? [one, other] : [other, one];
    for (let place = 0; place < from.length; place += 1) to[place] = from[place];
  });
  return (texts + copies) / 2;
})()`;

const STARTS_MS = 1000;

/** Starts the browser; `visits` opens an address in a fresh profile of a browser, so often, and tells of each visit. */
export async function startTablet() {
  const folder = await mkdtemp(join(tmpdir(), "benchscribe-tablet-"));
  const program = spawn(BROWSER, [...SWITCHES, "--remote-debugging-pipe", `--user-data-dir=${folder}`, "about:blank"], {
    stdio: ["ignore", "ignore", "ignore", "pipe", "pipe"],
  });
  const [to, from] = program.stdio.slice(3);
  let number = 0;
  const waiting = new Map();
  const listeners = new Set();
  const take = (message) => {
    const asked = waiting.get(message.id);
    waiting.delete(message.id);
    if (!asked) for (const listener of listeners) listener(message);
    else if (message.error) asked.reject(new Error(`${asked.method}: ${message.error.message}`));
    else asked.resolve(message.result);
  };
  // Messages end with a zero byte, both ways.
  let text = "";
  from.setEncoding("utf8").on("data", (piece) => {
    const messages = (text + piece).split("\0");
    text = messages.pop();
    for (const message of messages) take(JSON.parse(message));
  });
  const send = (method, params = {}, sessionId = undefined) =>
    new Promise((resolve, reject) => {
      number += 1;
      waiting.set(number, { resolve, reject, method });
      to.write(`${JSON.stringify({ id: number, method, params, sessionId })}\0`);
    });

  async function visits(url, { slower, latency, bits }, locale, { times = 2, asked = TIMES } = {}) {
    const { browserContextId } = await send("Target.createBrowserContext");
    const { targetId } = await send("Target.createTarget", { url: "about:blank", browserContextId, width: 1280, height: 800 });
    const { sessionId } = await send("Target.attachToTarget", { targetId, flatten: true });
    const tell = (method, params) => send(method, params, sessionId);
    const wire = { bytes: 0, files: 0 };
    const streams = new Set();
    const listener = ({ method, params, sessionId: sender }) => {
      if (sender !== sessionId) return;
      if (method === "Network.responseReceived" && params.response.mimeType === "text/event-stream") streams.add(params.requestId);
      if (method !== "Network.loadingFinished" || streams.has(params.requestId) || params.encodedDataLength === 0) return;
      wire.bytes += params.encodedDataLength;
      wire.files += 1;
    };
    listeners.add(listener);
    await tell("Network.enable");
    await tell("Network.setExtraHTTPHeaders", { headers: { "accept-language": locale } });
    const throughput = bits === 0 ? -1 : bits / 8;
    await tell("Network.emulateNetworkConditions", { offline: false, latency, downloadThroughput: throughput, uploadThroughput: throughput });
    await tell("Emulation.setCPUThrottlingRate", { rate: slower });
    // A tab that was just made still starts its process; an address is given to one that stands there.
    await new Promise((resolve) => setTimeout(resolve, STARTS_MS));
    const found = [];
    for (let visit = 0; visit < times; visit += 1) {
      Object.assign(wire, { bytes: 0, files: 0 });
      const { errorText } = await tell("Page.navigate", { url });
      if (errorText) throw new Error(`${url}: ${errorText}`);
      const { result, exceptionDetails } = await tell("Runtime.evaluate", { expression: asked, awaitPromise: true, returnByValue: true });
      if (exceptionDetails) throw new Error(exceptionDetails.text);
      // The sign in the tab comes last of all.
      await tell("Runtime.evaluate", { expression: `new Promise((resolve) => setTimeout(resolve, 300))`, awaitPromise: true });
      found.push({ ...result.value, ...wire });
    }
    listeners.delete(listener);
    await send("Target.disposeBrowserContext", { browserContextId });
    return found;
  }

  return {
    visits,
    /** How fast this machine runs scripts, at this moment. */
    async index() {
      const { targetId } = await send("Target.createTarget", { url: "about:blank" });
      const { sessionId } = await send("Target.attachToTarget", { targetId, flatten: true });
      const { result } = await send("Runtime.evaluate", { expression: INDEX }, sessionId);
      await send("Target.closeTarget", { targetId });
      return result.value;
    },
    /** When a page that holds one heading is painted: what the browser itself takes, on this machine and now. */
    nothing: async (url, profile) => (await visits(url, profile, "en", { times: 1, asked: PAINTED }))[0].read,
    async stop() {
      const ended = new Promise((resolve) => program.once("exit", resolve));
      program.kill("SIGTERM");
      await ended;
      await rm(folder, { recursive: true, force: true, maxRetries: 5 });
    },
  };
}
