// Day and night. The palette follows the system until someone presses the button; the choice is kept on this screen.

import { byId, setText } from "./dom.js";

const KEY = "bench-palette";

/** Applies the stored choice and makes the button work. */
export function startPalette() {
  const system = matchMedia("(prefers-color-scheme: dark)");
  const button = byId("palette-button");
  const isNight = () => {
    const chosen = localStorage.getItem(KEY);
    return chosen ? chosen === "night" : system.matches;
  };
  const apply = () => {
    const chosen = localStorage.getItem(KEY);
    if (chosen) document.documentElement.dataset.palette = chosen;
    button.setAttribute("aria-pressed", String(isNight()));
    setText(button, "night");
  };
  button.addEventListener("click", () => {
    localStorage.setItem(KEY, isNight() ? "day" : "night");
    apply();
  });
  system.addEventListener("change", apply);
  apply();
}
