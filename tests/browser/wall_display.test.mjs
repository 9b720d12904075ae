// The wall display (config/wall-display) in a real browser: served and fed by a real mosquitto, nothing from the daemon.

import assert from "node:assert/strict";
import { execFile, spawn } from "node:child_process";
import { access, mkdtemp, rm, writeFile } from "node:fs/promises";
import { createServer, connect } from "node:net";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";

import { ORDER, startOwnBench } from "./own_bench.mjs";
import { launch, openPage, untilText, violations } from "./support.mjs";

const EXAMPLE = fileURLToPath(new URL("../../config/wall-display/", import.meta.url));
const ARTEFACTS = process.env.BENCHSCRIBE_ARTEFACTS;

let browser;
let broker;
let bench;

before(async () => {
  await access(join(EXAMPLE, "node_modules/mqtt")).catch(() =>
    promisify(execFile)("npm", ["ci", "--silent", "--no-audit", "--no-fund"], { cwd: EXAMPLE }),
  );
  browser = await launch();
  broker = await startBroker();
  bench = await startOwnBench({ mqtt: `broker = "mqtt://127.0.0.1:${broker.mqtt}"` });
  assert.equal((await bench.command({ command: "import_order", text: ORDER })).status, 200);
  assert.equal((await bench.command({ command: "open_order", order: "W-7001" })).status, 200);
});

after(async () => {
  await bench?.stop();
  await broker?.stop();
  await browser?.close();
});

/** Ports that are free now; they are kept over a restart of the broker. */
async function freePorts(count) {
  const servers = await Promise.all(
    Array.from({ length: count }, () => new Promise((resolve) => { const server = createServer().listen(0, "127.0.0.1", () => resolve(server)); })),
  );
  const ports = servers.map((server) => server.address().port);
  await Promise.all(servers.map((server) => new Promise((resolve) => server.close(resolve))));
  return ports;
}

async function startBroker() {
  const folder = await mkdtemp(join(tmpdir(), "benchscribe-broker-"));
  const [mqtt, web] = await freePorts(2);
  const lines = [
    "allow_anonymous true", "persistence false",
    `listener ${mqtt} 127.0.0.1`, `listener ${web} 127.0.0.1`, "protocol websockets", `http_dir ${EXAMPLE}`,
  ];
  await writeFile(join(folder, "mosquitto.conf"), `${lines.join("\n")}\n`);
  const running = {
    mqtt, web,
    page: `http://127.0.0.1:${web}/index.html?broker=ws://127.0.0.1:${web}`,
    async start() {
      // Debian puts the broker where only root's path looks.
      this.process = spawn("mosquitto", ["-c", join(folder, "mosquitto.conf")], {
        stdio: "ignore", env: { ...process.env, PATH: `${process.env.PATH}:/usr/sbin` },
      });
      const deadline = AbortSignal.timeout(10_000);
      while (!(await answers(web))) {
        if (deadline.aborted) throw new Error("mosquitto does not listen");
        await new Promise((resolve) => setTimeout(resolve, 50));
      }
    },
    async kill() {
      const ended = new Promise((resolve) => this.process.once("exit", resolve));
      this.process.kill("SIGKILL");
      await ended;
    },
    async stop() {
      await this.kill();
      await rm(folder, { recursive: true });
    },
  };
  await running.start();
  return running;
}

const answers = (port) =>
  new Promise((resolve) => {
    const socket = connect(port, "127.0.0.1", () => { socket.destroy(); resolve(true); });
    socket.once("error", () => resolve(false));
  });

const texts = (page) =>
  page.evaluate(() => Object.fromEntries(["club", "order", "where", "now", "verdict", "trouble"].map((id) => [id, document.getElementById(id).textContent])));

async function shot(page, name) {
  if (ARTEFACTS) await page.screenshot({ path: join(ARTEFACTS, `wall-${name}.png`) });
}

test("the example is about a hundred lines, with no framework and nothing of the daemon's", async () => {
  const { readFile } = await import("node:fs/promises");
  const source = await readFile(join(EXAMPLE, "index.html"), "utf8");
  assert.ok(source.split("\n").length <= 130, `${source.split("\n").length} lines`);
  assert.ok(!source.includes("api/v1"));
});

test("a display that comes late is right at once, from retained topics alone", async () => {
  await bench.until("api/v1/state", (state) => state.instruments.some((one) => one.id === "parts-scale" && one.phase === "empty"));
  const asked = [];
  const { page, errors, close } = await openPage(browser, "about:blank", { width: 1280, height: 800 });
  page.on("request", (request) => asked.push(request.url()));
  const began = Date.now();
  await page.goto(broker.page);
  await untilText(page, "#club", "driver");
  await untilText(page, "#order", "0 of 2 done");
  await untilText(page, "#now", "lay the");
  await untilText(page, "#sheet", "203.0 g ± 2.0 g");
  const took = Date.now() - began;
  assert.ok(took < 5000, `${took} ms`);
  const own = `http://127.0.0.1:${broker.web}/`;
  // The library keeps its timers in a worker made from its own text.
  assert.ok(asked.every((url) => url.startsWith(own) || url.startsWith(`blob:${own}`)), `it asked elsewhere: ${asked}`);
  assert.deepEqual(await violations(page), []);
  await shot(page, "late");
  assert.deepEqual(errors, []);
  await close();
});

test("a part is followed live to its verdict, as the bench's own state has it", async () => {
  const { page, errors, close } = await openPage(browser, broker.page, { width: 1280, height: 800 });
  await untilText(page, "#club", "driver");
  bench.lay("parts-scale", 203.6);
  await untilText(page, "#where", "head mass, parts scale: settled");
  await untilText(page, "#verdict", "within");
  const state = await bench.until("api/v1/state", (state) => state.instruments.find((one) => one.id === "parts-scale").phase === "held");
  await untilText(page, "#now", state.instruments.find((one) => one.id === "parts-scale").readings[0].text);
  await untilText(page, "#order", "1 of 2 done");
  await shot(page, "held");
  bench.lift("parts-scale");
  await untilText(page, "#where", "next");
  assert.deepEqual(errors, []);
  await close();
});

test("a reading that stands still does not grow old, and one that comes no more does", async () => {
  const { page, close } = await openPage(browser, broker.page, { width: 1280, height: 800 });
  await untilText(page, "#club", "driver");
  bench.lay("parts-scale", 64.2);
  await untilText(page, "#where", "settled");
  // Five seconds of the same reading: never old.
  const seen = new Set();
  for (let look = 0; look < 25; look += 1) {
    seen.add(await page.evaluate(() => document.body.dataset.fresh));
    await new Promise((resolve) => setTimeout(resolve, 200));
  }
  assert.deepEqual([...seen], ["fresh"]);
  // Its plug is pulled: dashes, whatever stood there.
  bench.unplug("parts-scale");
  await untilText(page, "#now", "– – –");
  await untilText(page, "#where", "no readings");
  bench.plugIn("parts-scale");
  await page.waitForFunction(() => document.getElementById("now").textContent !== "– – –");
  bench.lift("parts-scale");
  await close();
});

test("two benches on one broker are never mixed", async () => {
  const tell = (payload) =>
    promisify(execFile)("mosquitto_pub", ["-p", `${broker.mqtt}`, "-r", "-t", "benchscribe/v1/dune-trailer/bench-2/status", "-m", payload]);
  await tell(JSON.stringify({ online: true, since: "2026-11-26T10:00:00Z", session: "s", version: "0" }));
  const { page, close } = await openPage(browser, broker.page, { width: 1280, height: 800 });
  await untilText(page, "#trouble", "several benches speak here");
  await untilText(page, "#now", "– – –");
  await page.goto(`${broker.page}&bench=dune-trailer/bench-1`);
  await untilText(page, "#club", "driver");
  await page.waitForFunction(() => document.getElementById("trouble").hidden);
  await tell("");
  await close();
});

test("a lost broker is told with the remedy, and everything is right again when it is back", async () => {
  const { page, close } = await openPage(browser, broker.page, { width: 1280, height: 800 });
  await untilText(page, "#club", "driver");
  await broker.kill();
  await untilText(page, "#trouble", "no connection to the broker");
  await untilText(page, "#now", "– – –");
  await shot(page, "lost");
  assert.equal(await page.evaluate(() => document.getElementById("trouble").hidden), false);
  // The club goes on while nobody sees it.
  await broker.start();
  await page.waitForFunction(() => document.getElementById("trouble").hidden && document.getElementById("club").textContent === "driver", null, { timeout: 30_000 });
  await untilText(page, "#sheet", "203.0 g ± 2.0 g");
  await close();
});

test("a bench that dies without a word is told as gone, and its last word is not shown as live", async () => {
  const { page, close } = await openPage(browser, broker.page, { width: 1280, height: 800 });
  await untilText(page, "#club", "driver");
  bench.lay("parts-scale", 64.0);
  await untilText(page, "#where", "parts scale");
  await bench.kill();
  const began = Date.now();
  await untilText(page, "#now", "– – –");
  assert.ok(Date.now() - began < 6000, "dashes after three seconds");
  await page.waitForFunction(() => document.getElementById("trouble").textContent.includes("not running"), null, { timeout: 60_000 });
  await shot(page, "gone");
  assert.match((await texts(page)).club, /driver/);
  await close();
});
