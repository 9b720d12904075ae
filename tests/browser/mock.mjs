// A mock bench for the browser test: serves the page with its assets and plays states that the test sets.
//
// `startMock()` for tests; `node mock.mjs [PORT]` plays a short scripted bench for looking at the page by hand.
// The content policy is the daemon's, so that a page that needs more fails here too.

import { createHash } from "node:crypto";
import { EventEmitter, once } from "node:events";
import { createServer } from "node:http";
import { readFile } from "node:fs/promises";
import { extname } from "node:path";
import { fileURLToPath } from "node:url";
import * as scenes from "./scenes.mjs";

const WEB = new URL("../../src/output/web/", import.meta.url);
const TYPES = { ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml", ".woff2": "font/woff2", ".txt": "text/plain" };
const POLICY = "default-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'";
const LATER = await readFile(new URL("assets/later.js", WEB), "utf8");
// The one script that is written into the page.
const BENCH_POLICY = `${POLICY}; script-src 'self' 'sha256-${createHash("sha256").update(LATER).digest("base64")}'`;

/** The page as the daemon's template makes it, in a language; what the daemon writes of the moment is left out, and the files are single ones. */
async function bench(language) {
  const { words } = JSON.parse(await readFile(new URL(`messages/${language}.json`, WEB), "utf8"));
  const styles = ["tokens", "bench", "live", "sheet", "dialogs", "far"].map((name) => `<link rel="stylesheet" href="assets/${name}.css">`);
  let template = await readFile(new URL("templates/bench.html", WEB), "utf8");
  for (let before = ""; before !== template; ) {
    before = template;
    // From the innermost outwards.
    template = template.replaceAll(/\{% (if|for) (?:(?!\{% (?:if|for) ).)*?\{% end\1 %\}/gs, "");
  }
  return template
    .replace("<style>{{ Self::style()|safe }}</style>", styles.join("\n  "))
    .replace("{{ Self::later()|safe }}", LATER)
    .replace('{{ self.messages() }}', `messages-${language}.js`)
    .replaceAll(/\{\{ self\.file\("([^"]+)"\) \}\}/g, (_, plain) => plain)
    .replaceAll("{{ bench_name }}", "bench-1")
    .replaceAll("{{ site }}", "dune-trailer")
    .replaceAll("{{ language.tag() }}", language)
    .replaceAll(/\{\{ first\.[^}]+ \}\}/g, "")
    .replaceAll(/\{\{ self\.t\("([^"]+)"\) \}\}/g, (_, key) => words[key]);
}

/** Starts a mock on a free port (or `port`). What it offers is at the end of this function. */
export async function startMock(port = 0) {
  let state = scenes.scene();
  let token = null;
  let problem = null;
  let beating = true;
  let language = "en";
  const streams = new Set();
  const commands = [];
  const arrivals = new EventEmitter();

  const server = createServer((request, response) => {
    answer(request, response).catch((error) => response.writeHead(500).end(String(error)));
  });
  async function answer(request, response) {
    const path = new URL(request.url, "http://bench").pathname;
    if (path === "/") {
      const page = await bench(language);
      response.writeHead(200, { "content-type": "text/html; charset=utf-8", "content-security-policy": BENCH_POLICY }).end(page);
    } else if (/^\/assets\/messages-\w+\.js$/.test(path)) {
      const messages = await readFile(new URL(`messages/${path.slice(17, -3)}.json`, WEB), "utf8");
      response.writeHead(200, { "content-type": "text/javascript" }).end(`globalThis.benchMessages = ${messages};`);
    } else if (/^\/assets\/[\w.]+$/.test(path)) {
      const body = await readFile(new URL(`.${path}`, WEB)).catch(() => null);
      response.writeHead(body ? 200 : 404, { "content-type": TYPES[extname(path)] ?? "application/octet-stream" }).end(body ?? "");
    } else if (path === "/api/v1/state") {
      response.writeHead(200, { "content-type": "application/json" }).end(JSON.stringify(state));
    } else if (path === "/api/v1/live") {
      response.writeHead(200, { "content-type": "text/event-stream", "cache-control": "no-store" });
      streams.add(response);
      request.on("close", () => streams.delete(response));
      if (beating) write(response, "state", state);
    } else if (path === "/api/v1/command" && request.method === "POST") {
      await take(request, response);
    } else {
      response.writeHead(404).end();
    }
  }
  async function take(request, response) {
    let text = "";
    for await (const piece of request) text += piece;
    const reply = (status, body) =>
      response
        .writeHead(status, { "content-type": status < 400 ? "application/json" : "application/problem+json" })
        .end(JSON.stringify(body));
    if (token !== null && request.headers.authorization !== `Bearer ${token}`)
      return reply(401, { title: "the bench token is missing", detail: "send it as a bearer token" });
    const command = JSON.parse(text);
    commands.push(command);
    arrivals.emit("command");
    if (problem) return reply(409, problem);
    return reply(200, { ok: true });
  }

  const write = (stream, event, message) => stream.write(`event: ${event}\ndata: ${JSON.stringify(message)}\n\n`);
  const send = (event, message) => {
    for (const stream of streams) write(stream, event, message);
  };
  const tick = setInterval(() => {
    if (!beating) return;
    state.beat += 1;
    state.now = new Date().toISOString();
    send("live", { beat: state.beat, now: state.now, seq: state.seq, instruments: state.instruments });
  }, 50);
  await new Promise((resolve) => server.listen(port, "127.0.0.1", resolve));

  return {
    url: `http://127.0.0.1:${server.address().port}/`,
    commands,
    /** Shows this state from now on. */
    set(next) {
      state = { ...next, beat: state.beat };
      send("state", state);
    },
    /** The instruments alone, as the live stream carries them. */
    setInstruments(instruments) {
      state = { ...state, instruments };
    },
    /** Nothing is sent any more, though the connections stay open. */
    hush() {
      beating = false;
    },
    resume() {
      beating = true;
      send("state", state);
    },
    /** Every stream is cut; new ones are taken at once. */
    cut() {
      for (const stream of streams) stream.destroy();
      streams.clear();
    },
    /** Pages are made in this language from now on. */
    speak(tag) {
      language = tag;
    },
    wantToken(wanted) {
      token = wanted;
    },
    refuse(with_problem) {
      problem = with_problem;
    },
    get beat() {
      return state.beat;
    },
    /** Resolves once this many commands were taken; fails after five seconds. */
    async untilCommands(count) {
      while (commands.length < count) await once(arrivals, "command", { signal: AbortSignal.timeout(5000) });
    },
    async stop() {
      clearInterval(tick);
      for (const stream of streams) stream.destroy();
      server.closeAllConnections();
      await new Promise((resolve) => server.close(resolve));
    },
  };
}

/** A part is laid on the scale, settles, is filed and lifted off; then the club lies on the beam. For ever. */
function* script() {
  for (;;) {
    for (let step = 0; step < 40; step += 1) yield scenes.scene();
    for (let step = 0; step < 60; step += 1) {
      const value = 203.1 - 60 * Math.exp(-step / 6) * Math.cos(step / 2);
      const deviation = value - 203;
      yield scenes.scene({
        instruments: [
          scenes.scale({
            phase: "settling",
            progress: step / 60,
            message: step < 20 ? "bench moving: let go and wait" : null,
            readings: [
              scenes.headMass({
                value,
                text: `${value.toFixed(2)} g`,
                deviation,
                deviation_text: `${deviation < 0 ? "-" : "+"}${Math.abs(deviation).toFixed(1)} g`,
                verdict: deviation < -2 ? "under" : deviation > 2 ? "over" : "within",
              }),
            ],
          }),
          scenes.beam(),
          scenes.gauge(),
        ],
      });
    }
    for (let step = 0; step < 40; step += 1)
      yield scenes.scene({
        instruments: [scenes.scale({ phase: "held", progress: 1, readings: [scenes.headMass()] }), scenes.beam(), scenes.gauge()],
      });
    for (let step = 0; step < 60; step += 1) {
      yield scenes.scene({
        instruments: [
          scenes.scale(),
          scenes.beam({ phase: step < 30 ? "settling" : "held", progress: Math.min(1, step / 30), readings: scenes.beamReadings(-0.7) }),
          scenes.gauge(),
        ],
      });
    }
  }
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const mock = await startMock(Number(process.argv[2] ?? 8099));
  process.stdout.write(`mock bench on ${mock.url}\n`);
  const steps = script();
  setInterval(() => mock.set(steps.next().value), 100);
}
