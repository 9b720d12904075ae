// A quiet bench of the test's own: simulated instruments that obey it, the real daemon in front of them.
//
// `startOwnBench()` gives the page's address, `lay` and `lift`, and `command` for what a test wants done beside the page.
// BENCHSCRIBE_PROGRAMS is the folder of the built programs; without it that of a debug build.

import { spawn } from "node:child_process";
import { mkdtemp, readFile, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

const PROGRAMS = process.env.BENCHSCRIBE_PROGRAMS ?? fileURLToPath(new URL("../../target/debug", import.meta.url));
const DEMO = new URL("../../config/demo.toml", import.meta.url);
// Everything runs so much faster than a real bench; capture sees the same samples.
const PACE = 2;

export const ORDER = `order = "W-7001"
player = "P-3"
due = "2026-12-01"

[[club]]
name = "driver"
kind = "driver"
head_mass = "203 g ± 2 g"
shaft_mass = "64 g ± 2 g"

[[club]]
name = "7-iron"
kind = "iron"
head_mass = "268 g ± 2 g"
`;

/** Starts simulators and daemon in a folder of their own; `mqtt` is what stands in the table of that name, `kits` fills the drawers. */
export async function startOwnBench({ mqtt = "", pace = PACE, kits = false } = {}) {
  const folder = await mkdtemp(join(tmpdir(), "benchscribe-pages-"));
  const ports = join(folder, "ports");
  const simulators = spawn(join(PROGRAMS, "simulators"), ["--ports", ports, "--pace", `${pace}`], { stdio: ["pipe", "pipe", "inherit"] });
  await said(simulators, simulators.stdout, (text) => text.includes("scanner"));
  const demo = await readFile(DEMO, "utf8");
  const drawers = kits ? `kits = ["${fileURLToPath(new URL("../../config/kits/demo.toml", import.meta.url))}"]\n` : "";
  const configuration = (listen) => `${drawers}${demo}`
    .replace('data = "demo-data"', `data = "${join(folder, "data")}"`)
    .replaceAll('"ports/', `"${ports}/`)
    .replace("[display]", `[http]\nlisten = "${listen}"\n\n[mqtt]\n${mqtt}\n\n[checks]\ncheck_every = "1 week"\n\n[display]`);
  let daemon;
  const start = async (listen) => {
    await writeFile(join(folder, "bench.toml"), configuration(listen));
    daemon = spawn(join(PROGRAMS, "benchscribe"), ["run", "--config", join(folder, "bench.toml"), "--pace", `${pace}`], {
      stdio: ["ignore", "ignore", "pipe"],
    });
    const words = await said(daemon, daemon.stderr, (text) => /^page: (\S+)/m.test(text));
    return /^page: (\S+)/m.exec(words)[1];
  };
  const url = await start("127.0.0.1:0");

  return {
    url,
    data: join(folder, "data"),
    /** Lays a load down; what lies there gives way. */
    lay: (instrument, ...numbers) => simulators.stdin.write(`lay ${instrument} ${numbers.join(" ")}\n`),
    lift: (instrument) => simulators.stdin.write(`lift ${instrument}\n`),
    unplug: (instrument) => simulators.stdin.write(`fault ${instrument} unplugged\n`),
    plugIn: (instrument) => simulators.stdin.write(`fault ${instrument} none\n`),
    /** Ends the daemon as a power cut does. */
    async kill() {
      const ended = new Promise((resolve) => daemon.once("exit", resolve));
      daemon.kill("SIGKILL");
      await ended;
    },
    /** Starts the daemon again after that, at the same address. */
    restart: () => start(new URL(url).host),
    /** Gives a command and returns the answer. */
    command: (command) =>
      fetch(new URL("api/v1/command", url), {
        method: "POST",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(command),
      }),
    get: async (path) => (await fetch(new URL(path, url))).json(),
    /** Waits until what a path gives is as wanted. */
    async until(path, wanted) {
      const deadline = AbortSignal.timeout(60_000);
      for (;;) {
        const found = await this.get(path);
        if (wanted(found)) return found;
        if (deadline.aborted) throw new Error(`${path} is not as wanted: ${JSON.stringify(found).slice(0, 2000)}`);
        await new Promise((resolve) => setTimeout(resolve, 50));
      }
    },
    async stop() {
      for (const child of [daemon, simulators]) {
        if (child.exitCode !== null || child.signalCode !== null) continue;
        const ended = new Promise((resolve) => child.once("exit", resolve));
        child.kill("SIGTERM");
        await ended;
      }
      await rm(folder, { recursive: true, force: true });
    },
  };
}

/** Starts the demo, whose simulated builder builds so many clubs, or plays his whole day. */
export async function startDemo({ clubs = null, pace }) {
  const folder = await mkdtemp(join(tmpdir(), "benchscribe-demo-"));
  const arguments_ = ["demo", ...(clubs === null ? [] : ["--clubs", `${clubs}`]), "--pace", `${pace}`, "--listen", "127.0.0.1:0", "--data", join(folder, "data")];
  const demo = spawn(join(PROGRAMS, "benchscribe"), arguments_, { stdio: ["ignore", "ignore", "pipe"] });
  const words = await said(demo, demo.stderr, (text) => /^page: (\S+)/m.test(text));
  const url = /^page: (\S+)/m.exec(words)[1];
  return {
    url,
    get: async (path) => (await fetch(new URL(path, url))).json(),
    /** Waits until the demo says this. */
    says: (text) => said(demo, demo.stderr, (words) => words.includes(text)),
    async stop() {
      const ended = new Promise((resolve) => demo.once("exit", resolve));
      demo.kill("SIGTERM");
      await ended;
      await rm(folder, { recursive: true, force: true });
    },
  };
}

/** What a child has said, once it has said what is wanted; fails when it ends before. */
function said(child, stream, wanted) {
  return new Promise((resolve, reject) => {
    let text = "";
    const ended = () => reject(new Error(`it ended: ${text}`));
    child.once("exit", ended);
    child.once("error", reject);
    stream.on("data", (piece) => {
      text += piece;
      if (wanted(text)) {
        child.removeListener("exit", ended);
        resolve(text);
      }
    });
  });
}
