// What somebody chose for this display. Kept by the browser of the display, never by the daemon: two displays may differ.
//
// In and out: plain values. The language is a cookie, because the daemon makes the page in it; all else is read by scripts.

const read = (name, allowed) => {
  const value = localStorage.getItem(`bench-${name}`);
  return allowed.includes(value) ? value : null;
};

function keep(name, value) {
  if (value === null) localStorage.removeItem(`bench-${name}`);
  else localStorage.setItem(`bench-${name}`, value);
  known = null;
}

let known = null;
addEventListener("storage", () => (known = null));

/** The units: `lengths` is `in` or `mm`, `masses` `g` or `oz`; null as the bench sends them. */
export function units() {
  known ??= { lengths: read("lengths", ["in", "mm"]), masses: read("masses", ["g", "oz"]) };
  return known;
}

export const setLengths = (value) => keep("lengths", value);
export const setMasses = (value) => keep("masses", value);

/** Whether the bench display makes sounds. */
export const soundsOn = () => read("sounds", ["off"]) === null;
export const setSounds = (on) => keep("sounds", on ? null : "off");

/** `day`, `night`, or null as the system says. */
export const palette = () => read("palette", ["day", "night"]);
export const setPalette = (value) => keep("palette", value);

const A_YEAR_S = 31_536_000;

/** Keeps the language; the page must be loaded again to be in it. */
export function setLanguage(tag) {
  document.cookie = `bench-language=${tag}; path=/; max-age=${A_YEAR_S}; samesite=lax`;
}

// Each screen by its size, so that a window that moves to another screen is not taken to be measured.
const screenName = () => `screen-${screen.width}x${screen.height}`;

/** What is known of this screen: `device_px_per_mm` (by the card) and `distance_m`; null where it was not measured. */
export function measuredScreen() {
  try {
    const kept = JSON.parse(localStorage.getItem(`bench-${screenName()}`));
    return kept?.device_px_per_mm > 0 && kept?.distance_m > 0 ? kept : null;
  } catch {
    return null;
  }
}

export const setMeasuredScreen = (measured) => keep(screenName(), measured === null ? null : JSON.stringify(measured));
