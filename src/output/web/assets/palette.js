// Day and night. The palette follows the system until someone presses the button; the choice is kept on this screen.

import { byId } from "./dom.js";
import { palette, setPalette } from "./preferences.js";

/** Applies the stored choice and makes the button work; returns what applies it again. */
export function startPalette() {
  const system = matchMedia("(prefers-color-scheme: dark)");
  const button = byId("palette-button");
  const isNight = () => {
    const chosen = palette();
    return chosen ? chosen === "night" : system.matches;
  };
  const apply = () => {
    const chosen = palette();
    if (chosen) document.documentElement.dataset.palette = chosen;
    else delete document.documentElement.dataset.palette;
    button.setAttribute("aria-pressed", String(isNight()));
  };
  button.addEventListener("click", () => {
    setPalette(isNight() ? "day" : "night");
    apply();
  });
  system.addEventListener("change", apply);
  addEventListener("storage", apply);
  apply();
  return apply;
}
