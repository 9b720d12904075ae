// What somebody chose for this display. Kept by the browser of the display, never by the daemon: two displays may differ.
//
// In and out: plain values. Language, units, palette and sizes are cookies, because the daemon makes pages in them; all else is read by scripts.

const read = (name, allowed) => {
  const value = localStorage.getItem(`bench-${name}`);
  return allowed.includes(value) ? value : null;
};

function keep(name, value) {
  if (value === null) localStorage.removeItem(`bench-${name}`);
  else localStorage.setItem(`bench-${name}`, value);
}

const A_YEAR_S = 31_536_000;

const cookie = (name) => new RegExp(`(?:^|; )bench-${name}=([^;]*)`).exec(document.cookie)?.[1] ?? null;

const told = (name, allowed) => {
  const value = cookie(name);
  return allowed.includes(value) ? value : null;
};

function tell(name, value) {
  document.cookie = `bench-${name}=${value ?? ""}; path=/; max-age=${value === null ? 0 : A_YEAR_S}; samesite=lax`;
  known = null;
}

// Read once for many values; another tab may change it while this one is not looked at.
let known = null;
addEventListener("visibilitychange", () => (known = null));

/** The units: `lengths` is `in` or `mm`, `masses` `g` or `oz`; null as the bench sends them. */
export function units() {
  known ??= { lengths: told("lengths", ["in", "mm"]), masses: told("masses", ["g", "oz"]) };
  return known;
}

export const setLengths = (value) => tell("lengths", value);
export const setMasses = (value) => tell("masses", value);

/** Whether the bench display makes sounds. */
export const soundsOn = () => read("sounds", ["off"]) === null;
export const setSounds = (on) => keep("sounds", on ? null : "off");

/** `day`, `night`, or null as the system says. */
export const palette = () => told("palette", ["day", "night"]) ?? read("palette", ["day", "night"]);
// Kept in both places: other windows of this display hear of what is stored.
export function setPalette(value) {
  tell("palette", value);
  keep("palette", value);
}

/** Keeps the language; the page must be loaded again to be in it. */
export const setLanguage = (tag) => tell("language", tag);

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

/** Keeps the sizes that were worked out from it, such as `5.940_32.1_64.2_118.8_far`, for the daemon's first picture; null forgets them. */
export function setSizes(text) {
  if (cookie("sizes") !== text) tell("sizes", text);
}

export const setMeasuredScreen = (measured) => keep(screenName(), measured === null ? null : JSON.stringify(measured));
