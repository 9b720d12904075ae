// The live display: joins the stream to the panels.
//
// In: messages of the daemon, presses of a person, time. Out: the page. A message only changes what is known; drawing happens
// once a frame, and at least five times a second so that silence shows as age.

import { armDeadMan, drawBeat, windDeadMan } from "./alive.js";
import { drawAct, drawStep } from "./act_panel.js";
import { drawBanners } from "./banners.js";
import { lastStanding, lineOf, newestFirst, nothingYet, takeLive, takeState } from "./bench_view.js";
import { drawCaptures, drawFate } from "./captures.js";
import { askOrder, askValue, askVoid, askWho } from "./asking.js";
import { byId, setAttribute, setText } from "./dom.js";
import { drawInstruments } from "./instruments.js";
import { drawLive } from "./live_panel.js";
import { drawHeading, drawSheet } from "./sheet.js";
import { openStream } from "./stream.js";
import { startPalette } from "./palette.js";
import { startScreen } from "./screen.js";
import { maySound, play } from "./sounds.js";
import { hear, silent } from "./sound_events.js";
import { plain, said, say, t } from "./language.js";
import { namedValues } from "./words.js";
import { soundsOn } from "./preferences.js";
import { drawWho } from "./who.js";

const DRAW_AT_LEAST_EVERY_MS = 200;

let view = nothingYet();
// `opening` until the first message, then `up` or `lost`.
let link = "opening";
let frame = 0;
let heard = silent();
let isMarked = false;

function draw(frame_ms) {
  frame = 0;
  // Until there is something to say, what the daemon wrote into the page stands, and fades if nothing comes.
  if (view.state === null && link === "opening") return;
  const now_ms = performance.now();
  drawBanners(view, link);
  drawHeading(view);
  drawWho(view);
  const shown = drawLive(view, now_ms);
  drawAct(view, shown);
  drawStep(view);
  drawFate(view, shown.calling);
  byId("sound-sign").hidden = !soundsOn() || maySound();
  windDeadMan(now_ms);
  if (view.state !== null && !document.body.dataset.drawn) {
    // The first time, what must be read stands a frame before the lists: a slow tablet takes longest to lay those out.
    document.body.dataset.drawn = "true";
    drawSoon();
    return;
  }
  drawInstruments(view, shown.instrument?.id, now_ms);
  drawSheet(view, shown.reading);
  drawCaptures(view);
  drawBeat(view);
  if (view.state !== null && !isMarked) {
    isMarked = true;
    // As this frame began, the one with the live digits was done.
    performance.mark("bench-live", { startTime: frame_ms });
  }
}

function drawSoon() {
  if (frame === 0) frame = requestAnimationFrame(draw);
}

// Tells a screen reader each new reading once; the live digits themselves stay silent.
let spokenEvent = null;
function speak() {
  const newest = newestFirst(view.state?.captures)[0];
  if (!newest || newest.event === spokenEvent) return;
  const first = spokenEvent === null;
  spokenEvent = newest.event;
  if (first) return;
  const line = lineOf(view, newest);
  const where = line?.characteristic ?? newest.filed?.[0]?.characteristic;
  const deviation = line?.deviation_text ? `, ${said(line.deviation_text)}, ${plain(line.verdict)}` : "";
  const reason = say(newest.reason);
  setText(byId("spoken"), where ? `${plain(where)} ${line ? said(line.text) : said(newest.text)}${deviation}` : `${namedValues(newest)} ${t("not_filed")}: ${reason.text}`);
  setAttribute(byId("spoken"), "lang", where ? null : reason.lang);
}

// What a message changed is heard, unless the page only joined the stream (again).
function sound(message, joined) {
  const { known, sounds } = hear(heard, message, joined);
  heard = known;
  if (soundsOn()) play(sounds);
}

startPalette();
startScreen();
armDeadMan(performance.now());
byId("void-button").addEventListener("click", () => askVoid(lastStanding(view)));
byId("enter-button").addEventListener("click", () => {
  if (view.state?.club) askValue(view.state.club);
});
byId("orders-button").addEventListener("click", () => {
  if (view.state) askOrder(view.state);
});
byId("who-button").addEventListener("click", () => {
  if (view.state) askWho(view.state.operator);
});
byId("companions").addEventListener("click", drawSoon);
document.addEventListener("visibilitychange", drawSoon);
setInterval(drawSoon, DRAW_AT_LEAST_EVERY_MS);

openStream({
  onState: (state, joined) => {
    sound(state, joined);
    view = takeState(view, state, performance.now());
    speak();
    drawSoon();
  },
  onLive: (live) => {
    sound(live, false);
    view = takeLive(view, live, performance.now());
    drawSoon();
  },
  onLink: (up) => {
    link = up ? "up" : "lost";
    drawSoon();
  },
});
