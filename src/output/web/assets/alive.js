// Signs of life that a frozen page cannot fake.
//
// In: the daemon's beat number and clock, once a message. Out: the hand of the beat dial, the clock, and a dead man's
// switch: the digits carry an animation that fades them out and shows "page stopped"; each message winds it back.
// If this script hangs, nobody winds it back, and the browser's compositor fades the digits without us.

import { byId, setAttribute, setText } from "./dom.js";
import { timeOfDay } from "./words.js";

const STEPS = 20;
const WIND_EVERY_MS = 400;
const TIMING = { duration: 4000, fill: "forwards" };

let animations = [];
let wound = 0;

/** Puts the switch on the places that show live numbers. */
export function armDeadMan(now_ms) {
  const fade = [{ opacity: 1 }, { opacity: 1, offset: 0.85 }, { opacity: 0 }];
  const show = [{ opacity: 0 }, { opacity: 0, offset: 0.85 }, { opacity: 1 }];
  animations = [
    ...["digits", "live-phase", "facts", "settle", "deviation", "companions", "instruments"].map((id) => byId(id).animate(fade, TIMING)),
    byId("stopped").animate(show, TIMING),
  ];
  wound = now_ms;
}

/** Called from the page's own tick: the page still runs, whether or not the daemon does (that is told elsewhere). */
export function windDeadMan(now_ms) {
  if (now_ms - wound < WIND_EVERY_MS) return;
  wound = now_ms;
  for (const animation of animations) animation.currentTime = 0;
}

/** Turns the beat's hand by the daemon's number; it stands still when the daemon does. */
export function drawBeat(view) {
  const beat = view.beat ?? 0;
  setAttribute(byId("beat-hand"), "transform", `rotate(${((beat % STEPS) * 360) / STEPS} 20 20)`);
  setAttribute(byId("beat"), "data-beat", view.beat);
  const clock = byId("clock");
  setText(clock, timeOfDay(view.state?.now) || "--:--:--");
  setAttribute(clock, "datetime", view.state?.now);
}
