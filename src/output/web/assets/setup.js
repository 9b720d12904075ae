// The set-up of this display. Each choice holds at once and is kept; the page says what came of it.
//
// In: what somebody measures and chooses. Out: `preferences.js`. The screen is measured with a card of ID-1 size (ISO/IEC 7810): its
// width in pixels of the device, so that the zoom of the browser changes nothing.

import "./page.js";
import { byId, el, setProperty } from "./dom.js";
import { t } from "./language.js";
import { startPalette } from "./palette.js";
import * as chosen from "./preferences.js";
import { CARD_MM, DIGIT_MM_PER_M, LABEL_MM_PER_M, farthest, pagePixels, startScreen } from "./screen.js";
import { SOUNDS, play } from "./sounds.js";

// A card on the screens of most workshops, 3.8 pixels a millimetre: where somebody starts.
const USUAL_PX = 324;

const width = byId("card-width");
const distance = byId("distance");
const applyScreen = startScreen();

function drawCard() {
  const px = Number(width.value);
  setProperty(byId("card"), "--card-wide", `${px}px`);
  setProperty(byId("card"), "--card-high", `${(px * CARD_MM[1]) / CARD_MM[0]}px`);
}

function change(by) {
  width.value = String(Number(width.value) + by);
  drawCard();
}

function drawMeasured() {
  const measured = chosen.measuredScreen();
  byId("proof").hidden = measured === null;
  byId("forget").disabled = measured === null;
  byId("too-small").hidden = true;
  if (measured === null) {
    byId("measured").textContent = t("screen.not_measured");
    return;
  }
  const px = pagePixels(measured.device_px_per_mm);
  const m = measured.distance_m;
  const mm = (each) => (each * m).toFixed(1);
  byId("measured").textContent = t("screen.measured", { px: px.toFixed(2), m, digit: mm(DIGIT_MM_PER_M), label: mm(LABEL_MM_PER_M) });
  const far = farthest(innerWidth / px, innerHeight / px);
  byId("too-small").hidden = far >= m;
  byId("too-small").textContent = t("screen.too_small", { m, far: (Math.floor(far * 10) / 10).toFixed(1) });
}

function keepScreen() {
  const metres = Number(distance.value);
  if (!(metres >= Number(distance.min) && metres <= Number(distance.max))) {
    distance.reportValidity();
    return;
  }
  const device_px_per_mm = (Number(width.value) / CARD_MM[0]) * devicePixelRatio;
  chosen.setMeasuredScreen({ device_px_per_mm, distance_m: metres });
  applyScreen();
  drawMeasured();
}

const before = chosen.measuredScreen();
width.value = String(before ? pagePixels(before.device_px_per_mm) * CARD_MM[0] : USUAL_PX);
if (before) distance.value = String(before.distance_m);
width.addEventListener("input", drawCard);
byId("narrower").addEventListener("click", () => change(-1));
byId("wider").addEventListener("click", () => change(1));
byId("fits").addEventListener("click", keepScreen);
byId("forget").addEventListener("click", () => {
  chosen.setMeasuredScreen(null);
  applyScreen();
  drawMeasured();
});
addEventListener("resize", drawMeasured);
drawCard();
drawMeasured();

// The buttons of a choice: what is chosen is marked, and a press is kept.
function choose(name, now, take) {
  for (const button of document.querySelectorAll(`input[name="${name}"]`)) {
    button.checked = button.value === (now ?? "");
    button.addEventListener("change", () => take(button.value || null));
  }
}

const applyPalette = startPalette();
choose("palette", chosen.palette(), (value) => {
  chosen.setPalette(value);
  applyPalette();
});
byId("palette-button").addEventListener("click", () => {
  for (const button of document.querySelectorAll('input[name="palette"]')) button.checked = button.value === (chosen.palette() ?? "");
});
choose("lengths", chosen.units().lengths, chosen.setLengths);
choose("masses", chosen.units().masses, chosen.setMasses);
choose("language", document.documentElement.lang, (tag) => {
  chosen.setLanguage(tag);
  location.reload();
});

const sounds = byId("sounds");
sounds.checked = chosen.soundsOn();
sounds.addEventListener("change", () => chosen.setSounds(sounds.checked));
byId("sound-tries").append(
  ...Object.keys(SOUNDS).map((name) =>
    el("button", { type: "button", "data-sound": name, onclick: () => play([name]) }, t("sound.try", { sound: t(`sound.${name}`) })),
  ),
);
