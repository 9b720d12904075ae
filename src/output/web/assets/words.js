// Words and number texts of the page.
//
// In: the codes of the daemon's state (phases, verdicts, units, characteristics). Out: what a person reads.
// The daemon has already rounded and formatted every number; nothing here computes a value.

/** What each phase is called on the page. */
export const PHASES = {
  empty: "empty",
  settling: "settling",
  held: "settled",
  disturbed: "disturbed",
  unknown: "not sure",
  lost: "lost",
};

/** What to do in a phase when the daemon sends no message of its own. */
export function phaseAdvice(instrument) {
  switch (instrument.phase) {
    case "settling":
      return "let go and wait";
    case "held":
      return "settled: lift it off";
    case "disturbed":
      return "take your hand away";
    case "unknown":
      return `take everything off the ${instrument.name} once, so that it finds its zero`;
    case "lost":
      return `the ${instrument.name} is not connected`;
    default:
      return null;
  }
}

/** A code such as `dry_fit` as words. */
export const plain = (code) => (code ?? "").replaceAll("_", " ");

/** A text with a true minus sign, as wide as the plus, so that digits do not shift. */
export const signed = (text) => (text ?? "").replace(/(^|\s)-(?=\d)/g, "$1−");

/** A target with its tolerance that may only break before the tolerance. */
export const unbroken = (text) => signed(text).replace(/ (?!±)/g, "\u00a0");

/** Cuts `+0.1 g` into number and unit; a text without a unit (`D3.1`, `1° open`) stays whole. */
export function splitUnit(text) {
  const match = /^(.*\d)\s*([^\d\s]{1,8})$/u.exec(signed(text));
  return match ? { number: match[1], unit: match[2] } : { number: signed(text), unit: "" };
}

/** The unit of a number in the state as a person writes it. */
export function unitWord(unit) {
  return { "{point}": "pt", "{cpm}": "cpm", deg: "°", "kg.cm2": "kg·cm²" }[unit] ?? unit ?? "";
}

/** Label of a characteristic: the club's own if the sheet has it. */
export function labelOf(club, characteristic) {
  const line = club?.characteristics?.find((entry) => entry.characteristic === characteristic);
  return line?.label ?? plain(characteristic);
}

/** The time of day of an RFC 3339 time, in the time zone of this screen; empty if it is not a time. */
export function timeOfDay(at) {
  const time = new Date(at ?? "");
  return Number.isNaN(time.getTime()) ? "" : time.toLocaleTimeString("en-GB", { hour12: false });
}

/** How many digit widths a text takes; points, spaces and fraction bars are narrow. */
export function digitWidths(text) {
  let widths = 0;
  for (const character of text) widths += ".,:' /".includes(character) ? 0.5 : 1;
  return widths;
}
