// The sounds of the bench display: which change makes which, that a resync makes none, and that each can be told apart by its rhythm.
//
// Expected: the project's display requirements. Rhythm is measured on the sound itself, as the browser renders it.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import * as s from "../scenes.mjs";
import { atMockBench, onScale } from "../mock_bench.mjs";
import { hear, silent } from "../../../src/output/web/assets/sound_events.js";

describe("sounds", () => {
  const bench = atMockBench();
  const { on, show } = bench;

  const state = (phase, captures = s.captures(), club = s.club()) => s.scene({ club, captures, instruments: [s.scale({ phase, readings: [s.headMass()] })] });
  const heard = (...messages) => {
    let known = silent();
    const sounds = [];
    messages.forEach(([message, joined], index) => {
      const step = hear(known, message, joined ?? index === 0);
      known = step.known;
      sounds.push(...step.sounds);
    });
    return sounds;
  };

  test("only_a_change_that_was_seen_sounds", () => {
    const filed = s.capture("e20", "59:59", "203.1 g", "head_mass");
    const line = (verdict) => s.club({ characteristics: [{ ...s.headMass(), event: "e20", verdict }] });
    assert.deepEqual(heard([state("settling")], [state("held")]), ["settled"]);
    assert.deepEqual(heard([state("held")]), [], "what was so at the start");
    assert.deepEqual(heard([state("settling")], [state("held"), true]), [], "settled while the page was away");
    assert.deepEqual(heard([state("unknown")], [state("held")]), [], "found again after a restart");
    assert.deepEqual(heard([state("held")], [state("held", [filed, ...s.captures()], line("within"))]), ["within"]);
    assert.deepEqual(heard([state("held")], [state("held", [filed, ...s.captures()], line("over"))]), ["out"]);
    assert.deepEqual(heard([state("held")], [state("held", [filed, ...s.captures()], line("within")), true]), [], "after a reconnect");
    assert.deepEqual(heard([state("held")], [state("held", [filed, ...s.captures()], s.club())]), ["within"], "the club that it finished is closed: as the instrument showed");
    assert.deepEqual(heard([state("held")], [state("held", [s.unfiled(), ...s.captures()])]), ["refused"]);
    const open = { ...filed, filed: [] };
    assert.deepEqual(heard([state("held")], [state("held", [open, ...s.captures()])], [state("held", [filed, ...s.captures()], line("within"))]), ["within"], "once, when it has its place");
    assert.deepEqual(heard([state("held")], [state("held", s.captures().map((capture) => ({ ...capture, voided: true })))]), [], "a void");
    // Instruments alone, as the live stream carries them.
    assert.deepEqual(heard([state("settling")], [{ instruments: [s.scale({ phase: "held" })] }], [{ instruments: [s.scale({ phase: "held" })] }]), ["settled"]);
  });

  test("each_sound_has_a_rhythm_of_its_own", () =>
    on(state("empty"), async (page) => {
      const rhythms = await page.evaluate(async () => {
        const { SOUNDS, schedule } = await import("./assets/sounds.js");
        const rate = 8000;
        const found = {};
        for (const name of Object.keys(SOUNDS)) {
          const context = new OfflineAudioContext(1, 2 * rate, rate);
          schedule(context, name, 0);
          const samples = (await context.startRendering()).getChannelData(0);
          // Loud or not, in steps of 20 ms: pulses as short and long ones.
          const loud = Array.from({ length: 100 }, (_, step) => samples.slice(step * 160, step * 160 + 160).some((sample) => Math.abs(sample) > 0.05));
          const pulses = loud.map((on) => (on ? "x" : " ")).join("").trim().split(/ +/);
          found[name] = pulses.map((pulse) => (pulse.length > 12 ? "long" : "short")).join(" ");
          if (Math.max(...samples) > 1) throw new Error(`${name} is clipped`);
        }
        return found;
      });
      assert.deepEqual(rhythms, { settled: "short", within: "short long", out: "short short short", refused: "long long" });
    }));

  // What the browser was asked to play, by the oscillators that were started.
  const spied = (page) =>
    page.addInitScript(() => {
      globalThis.tones = [];
      // The test's own look at the page counts as a press for the browser; here only a key does.
      let pressed = false;
      addEventListener("keydown", () => (pressed = true));
      Object.defineProperty(navigator, "userActivation", { get: () => ({ hasBeenActive: pressed }) });
      const { start } = OscillatorNode.prototype;
      OscillatorNode.prototype.start = function (...rest) {
        globalThis.tones.push(Math.round(this.frequency.value));
        return start.apply(this, rest);
      };
    });

  for (const [sounds, expected] of [
    [null, [660]],
    ["off", []],
  ]) {
    test(`the_page_sounds_when_something_settles${sounds === "off" ? "_unless_it_is_off" : "_after_its_first_press"}`, () =>
      on(
        state("settling"),
        async (page) => {
          await spied(page);
          await page.reload();
          await page.waitForFunction(() => document.getElementById("beat").dataset.beat);
          assert.equal(await page.locator("#sound-sign").isVisible(), sounds === null);
          await page.keyboard.press("Shift");
          await show(page, state("held"));
          assert.deepEqual(await page.evaluate(() => globalThis.tones), expected);
          if (sounds === "off") return;
          await page.waitForFunction(() => document.getElementById("sound-sign").hidden);
          // The stream is cut while something settles: what is found afterwards is no news.
          await show(page, state("settling"));
          bench.mock.hush();
          bench.mock.cut();
          await page.waitForFunction(() => !document.getElementById("banners").hidden);
          bench.mock.set(state("held"));
          bench.mock.resume();
          await page.waitForFunction(() => document.getElementById("banners").hidden);
          await show(page, state("held"));
          assert.deepEqual(await page.evaluate(() => globalThis.tones), expected, "a resync is silent");
        },
        { kept: sounds ? { "bench-sounds": sounds } : {}, expected: /ERR_|Failed to load/ },
      ));
  }
});
