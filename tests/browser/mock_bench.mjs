// The mock bench with a browser in front of it: what every test against the mock needs.
//
// `atMockBench()` inside a `describe` starts both and stops them after its tests. `SCENES` are the states that every look at the page goes through.

import { after, before } from "node:test";
import assert from "node:assert/strict";
import { startMock } from "./mock.mjs";
import * as s from "./scenes.mjs";
import { launch, openPage } from "./support.mjs";

export const onScale = (changes, reading = {}) =>
  s.scene({ instruments: [s.scale({ phase: "held", progress: 1, readings: [s.headMass(reading)], ...changes }), s.beam(), s.gauge()] });
export const UNDER = { value: 200.3, text: "200.30 g", deviation: -2.7, deviation_text: "-2.7 g", verdict: "under" };
export const OVER = { value: 205.9, text: "205.90 g", deviation: 2.9, deviation_text: "+2.9 g", verdict: "over" };
const WITHOUT_TARGET = {
  characteristic: null,
  value: 57.3,
  text: "57.30 g",
  target: null,
  lower: null,
  upper: null,
  target_text: null,
  deviation: null,
  deviation_text: null,
  verdict: "no_target",
};

export const SCENES = {
  empty: s.scene(),
  settling: onScale({ phase: "settling", progress: 0.4, message: "bench moving: let go and wait" }, UNDER),
  held: onScale({}),
  over: onScale({}, OVER),
  disturbed: s.scene({
    club: s.club({ cautions: s.cautions(), cautions_short: s.cautionsShort(), next_step: "bond" }),
    instruments: [s.scale(), s.beam(), s.gauge({ phase: "disturbed", readings: s.gaugeReadings() })],
  }),
  "about to cut": s.scene({ club: s.club({ stage: "bonded", cautions: s.cautions(), cautions_short: s.cautionsShort(), next_step: "cut", cut: s.cut() }) }),
  beam: s.scene({ instruments: [s.scale(), s.beam({ phase: "held", progress: 1, readings: s.beamReadings() }), s.gauge()] }),
  crowded: s.scene({
    banners: s.bannerSet(),
    club: s.club({
      cautions: s.cautions(), cautions_short: s.cautionsShort(),
      next_step: "bond",
      advice: ["add 1.6 g at the head", "shorten by 1/16 in", "turn the head 1 mm"],
    }),
    instruments: [s.scale(), s.beam({ phase: "held", progress: 1, readings: s.beamReadings() }), s.gauge()],
  }),
  "crowded and unfiled": s.scene({
    banners: s.bannerSet(),
    club: s.club({ cautions: s.cautions(), cautions_short: s.cautionsShort(), next_step: "bond" }),
    captures: [s.unfiled(), ...s.captures()],
    instruments: [s.scale(), s.beam({ phase: "held", progress: 1, readings: s.beamReadings() }), s.gauge()],
  }),
  bending: s.scene({
    club: s.club({
      name: "5-iron",
      next_step: "adjust",
      advice: [s.bendAdvice().text],
      bending: { done: [], advice: [s.bendAdvice(), { ...s.bendAdvice(), characteristic: "loft", quantity: "1.0 deg weaker" }] },
      rule_check: s.ruleCheck(),
      cautions: ["Bending: heads can crack or break; eye protection, small steps, never beyond the head maker's limit."],
    }),
  }),
  unknown: onScale({ phase: "unknown", progress: null }),
  lost: s.scene({
    banners: s.bannerSet(),
    instruments: [s.scale({ phase: "lost", connected: false, age_ms: null, error: "unplugged", readings: [s.headMass()] })],
  }),
  aged: onScale({ age_ms: 1500 }),
  gone: onScale({ age_ms: 9000 }),
  unfiled: s.scene({
    captures: [s.unfiled(), ...s.captures()],
    instruments: [s.scale({ phase: "held", readings: [s.headMass(WITHOUT_TARGET)] })],
  }),
  "long doubt": s.scene({
    captures: [s.longDoubt(), ...s.captures()],
    club: s.club({ cautions: s.cautions(), cautions_short: s.cautionsShort(), next_step: "bond", advice: ["add 1.6 g at the head", "shorten by 1/16 in", "turn the head 1 mm"] }),
    instruments: [s.scale({ phase: "held", readings: [s.headMass(WITHOUT_TARGET)] }), s.beam(), s.gauge()],
  }),
  "no order": s.scene({ order: null, club: null, captures: [] }),
  nothing: s.scene({ order: null, club: null, captures: [], queue: [], instruments: [] }),
};

/** Starts a mock and a browser for the tests of one `describe`. */
export function atMockBench() {
  const bench = { mock: null, browser: null };
  before(async () => {
    bench.mock = await startMock();
    bench.browser = await launch();
  });
  after(async () => {
    await bench.browser?.close();
    await bench.mock?.stop();
  });

  /** A fresh page on a scene; at the end nothing may have gone wrong in it, save what `expected` matches. */
  bench.on = async (state, body, { expected = null, language = "en", ...options } = {}) => {
    bench.mock.speak(language);
    bench.mock.refuse(null);
    bench.mock.wantToken(null);
    bench.mock.commands.length = 0;
    bench.mock.set(structuredClone(state));
    const { page, errors, close } = await openPage(bench.browser, bench.mock.url, options);
    try {
      await page.waitForFunction(() => document.getElementById("beat").dataset.beat);
      await body(page);
      assert.deepEqual(
        errors.filter((text) => !expected?.test(text)),
        [],
        "console errors",
      );
    } finally {
      await close();
    }
  };

  /** Shows another scene on an open page, and waits until the page has drawn messages that came after it. */
  bench.show = async (page, state) => {
    bench.mock.set(structuredClone(state));
    const drawn = bench.mock.beat + 1;
    await page.waitForFunction((beat) => Number(document.getElementById("beat").dataset.beat) >= beat, drawn);
  };

  /** The commands that the mock took, once there are `count` of them. */
  bench.sent = async (count = 1) => {
    await bench.mock.untilCommands(count);
    return bench.mock.commands.slice();
  };
  return bench;
}
