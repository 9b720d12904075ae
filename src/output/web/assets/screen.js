// Makes live digits and labels as tall as they must be on this very screen, once it was measured with a card.
//
// In: pixels a millimetre and the distance somebody reads from. Out: custom properties on the root and `data-reading="far"`.
// Sizes: labels 17.5 mm and digits 35 mm tall at 3 m, in proportion at other distances, by the project's display requirements
// (17.5 mm at 3 m is an angle of 20', from memory what ISO 9241-303 prefers at least); targets 20 mm.

import { byId, setAttribute, setProperty } from "./dom.js";
import { measuredScreen, setSizes } from "./preferences.js";

/** Height of what is read, in millimetres for each metre of distance. */
export const LABEL_MM_PER_M = 17.5 / 3;
export const DIGIT_MM_PER_M = 35 / 3;
/** Width of an ID-1 card (ISO/IEC 7810), in millimetres, and its height. */
export const CARD_MM = [85.6, 53.98];
const TOUCH_MM = 20;

// What the bench display needs at 3 m with everything on it that must be read from there, in millimetres: found by looking.
const NEEDED_AT_3_M = { wide: 300, high: 240 };

/** The greatest distance, in metres, from which everything that must be read fits a window of this size. */
export function farthest(wide_mm, high_mm) {
  return 3 * Math.min(wide_mm / NEEDED_AT_3_M.wide, high_mm / NEEDED_AT_3_M.high);
}

/** Pixels of the page (not of the device) a millimetre, at the present zoom. */
export const pagePixels = (device_px_per_mm) => device_px_per_mm / devicePixelRatio;

// The height of a capital and of a digit as shares of the size of the type, as this browser draws it.
function shares() {
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `700 200px ${getComputedStyle(document.body).fontFamily}`;
  return { capital: pen.measureText("H").actualBoundingBoxAscent / 200, digit: pen.measureText("8").actualBoundingBoxAscent / 200 };
}

/** Applies what was measured, now and whenever the window changes; returns what applies it again. */
export function startScreen() {
  const apply = () => {
    const root = document.documentElement;
    // What the daemon wrote into the page, from the last time, holds until here.
    byId("sizes")?.remove();
    const measured = measuredScreen();
    if (measured === null) {
      for (const name of ["--label", "--digit", "--mm", "--touch"]) root.style.removeProperty(name);
      setAttribute(root, "data-reading", null);
      setSizes(null);
      return;
    }
    const px = pagePixels(measured.device_px_per_mm);
    // Farther than all of it fits, the nearest distance that it does fit is meant; the set-up page says so.
    const distance = Math.min(measured.distance_m, farthest(innerWidth / px, innerHeight / px));
    const { capital, digit } = shares();
    const label = (LABEL_MM_PER_M * distance * px) / capital;
    const sizes = { mm: px.toFixed(3), label: label.toFixed(1), digit: ((DIGIT_MM_PER_M * distance * px) / digit).toFixed(1), touch: Math.max(48, TOUCH_MM * px).toFixed(1) };
    for (const [name, size] of Object.entries(sizes)) setProperty(root, `--${name}`, `${size}px`);
    // Where the display's own sizes are not enough, it shows what is read from afar first, and the rest below.
    const own = 2 * parseFloat(getComputedStyle(root).fontSize);
    const reading = label > own ? "far" : "near";
    setAttribute(root, "data-reading", reading);
    setSizes([...Object.values(sizes), reading].join("_"));
  };
  addEventListener("resize", apply);
  addEventListener("storage", apply);
  apply();
  return apply;
}
