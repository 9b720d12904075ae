// Words and number texts of the page.
//
// In: the codes of the daemon's state (phases, verdicts, units, characteristics). Out: what a person reads.
// The daemon has already rounded and formatted every number; nothing here computes a value.

import { plain, said, t } from "./language.js";
import { units } from "./preferences.js";
import { deviationText, targetText, valueText } from "./quantities.js";

/** What each phase is called on the page. */
export const phaseWord = (phase) => t(`phase.${phase}`);

/** What to do in a phase when the daemon sends no message of its own. */
export function phaseAdvice(instrument) {
  switch (instrument.phase) {
    case "settling":
      return t("do.let_go");
    case "held":
      return t("do.lift_off");
    case "disturbed":
      return t("do.hand_away");
    case "unknown":
      return t("do.clear_once", { name: instrument.name });
    case "lost":
      return t("do.not_connected", { name: instrument.name });
    default:
      return null;
  }
}

/** A reading's value as somebody likes it. */
export const valueOf = (reading) => valueText(reading, units());

/** A reading's distance from its target, with the daemon's words in this language. */
export const deviationOf = (reading) => {
  const text = deviationText(reading, units());
  return text === null ? null : said(text);
};

const AT = {
  at_most: (limit) => t("at_most", { limit }),
  at_least: (limit) => t("at_least", { limit }),
  by_default: (target) => t("by_default", { target }),
};

/** A reading's target with its limits. */
export const targetOf = (reading) => {
  const text = targetText(reading, units(), AT);
  return text === null ? null : said(text);
};

/** A reading in one line, every number with its name; without numbers of its own (a hidden one) its text. */
export const namedValues = (capture) =>
  capture.values?.length ? capture.values.map((value) => `${plain(value.what)} ${signed(said(value.text))}`).join(" · ") : signed(said(capture.text));

/** A text with a true minus sign, as wide as the plus, so that digits do not shift. */
export const signed = (text) => (text ?? "").replace(/(^|\s)-(?=\d)/g, "$1−");

/** A target with its tolerance that may break before the tolerance and between words, never within a number or before its unit. */
export const unbroken = (text) => signed(text).replace(/(?<=[\d±]) (?!±)/g, "\u00a0");

/** Cuts `+0.1 g` into number and unit; a text without a unit (`D3.1`, `1° open`) stays whole. */
export function splitUnit(text) {
  const match = /^(.*\d)\s*([^\d\s]{1,8})$/u.exec(signed(text));
  return match ? { number: match[1], unit: match[2] } : { number: signed(text), unit: "" };
}

/** The unit of a number in the state as a person writes it. */
export function unitWord(unit) {
  return { "{point}": "pt", "{cpm}": "cpm", deg: "°", "kg.cm2": "kg·cm²" }[unit] ?? unit ?? "";
}

/** Label of a characteristic. */
export const labelOf = (characteristic) => plain(characteristic);

/** The hand of a club, which is a club's own word in most languages. */
export const handWord = (hand) => t(`hand.${hand}`);

/** The time of day of an RFC 3339 time, in the time zone of this screen; empty if it is not a time. */
export function timeOfDay(at) {
  const time = new Date(at ?? "");
  // The languages spoken here write it the same way; the browser's own writer would cost a slow tablet a tenth of a second to begin with.
  return Number.isNaN(time.getTime()) ? "" : [time.getHours(), time.getMinutes(), time.getSeconds()].map((part) => String(part).padStart(2, "0")).join(":");
}

/** How many digit widths a text takes; points, spaces and fraction bars are narrow. */
export function digitWidths(text) {
  let widths = 0;
  for (const character of text) widths += ".,:' /".includes(character) ? 0.5 : 1;
  return widths;
}
