// The pages beside the bench display: joins the stream to what on a page lives.
//
// In: messages of the daemon, presses of a person. Out: live instruments, parts made anew by the daemon after each event,
// commands of the forms. A page stands without this script; it then shows how things stood when it was loaded.

import { drawBanners } from "./banners.js";
import { byId } from "./dom.js";
import { answerForms } from "./forms.js";
import { answerImport } from "./import.js";
import { phaseGlyph } from "./glyphs.js";
import { drawInstrument, takeInstruments } from "./live_instruments.js";
import { startPalette } from "./palette.js";
import { refreshParts } from "./parts.js";
import { startScreen } from "./screen.js";
import { openStream } from "./stream.js";
import { showTimes } from "./times.js";

const DRAW_EVERY_MS = 100;

let view = { state: null };
// `opening` until the first message, then `up` or `lost`.
let link = "opening";

if (!byId("palette-title")) startPalette();
document.querySelector('.ways [aria-current="page"]')?.scrollIntoView({ block: "nearest", inline: "center" });
showTimes(document);
startScreen();
answerForms(document);
if (byId("files")) answerImport();
// On the document, as parts with their buttons come and go.
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) print();
});
for (const place of document.querySelectorAll("[data-phase-sample]")) place.append(phaseGlyph(place.dataset.phaseSample, 0.4));

const places = [...document.querySelectorAll("[data-instrument]")].filter((node) => node.matches("section"));
if (places.length > 0) {
  setInterval(() => {
    const now_ms = performance.now();
    for (const place of places) drawInstrument(place, now_ms);
  }, DRAW_EVERY_MS);
}

function take(message) {
  takeInstruments(message.instruments ?? [], performance.now());
  refreshParts(message.seq);
}

openStream({
  onState: (state) => {
    view = { state };
    drawBanners(view, link);
    take(state);
  },
  onLive: take,
  onLink: (up) => {
    const now = up ? "up" : "lost";
    if (now === link) return;
    link = now;
    document.body.dataset.link = link;
    drawBanners(view, link);
  },
});
