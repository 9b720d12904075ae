// The language of this page: its words by key, codes as words, and the daemon's sentences.
//
// In: the messages, in a file of their own before every script. Out: texts. What has no translation stays whole in English and is marked as English, so
// that it is read aloud as what it is.

import { el, setAttribute, setText } from "./dom.js";
import { units } from "./preferences.js";
import { inUnits } from "./quantities.js";
import { translator } from "./sentences.js";

const carried = globalThis.benchMessages;
// English words of codes and labels, to find their code again in the daemon's sentences.
const codes = new Map();
for (const key of Object.keys(carried.words)) {
  if (key.startsWith("code.")) codes.set(key.slice(5).replaceAll("_", " "), key);
}

/** The language tag of the page's own words. */
export const language = document.documentElement.lang;

/** The words of a key, with values for the places in braces. */
export function t(key, values = {}) {
  return (carried.words[key] ?? key).replace(/\{(\w+)\}/g, (place, name) => values[name] ?? place);
}

/** A code of the daemon such as `dry_fit` as words; a code without words is shown as it is. */
export const plain = (code) => carried.words[`code.${code}`] ?? (code ?? "").replaceAll("_", " ");

/** One of two keys by a number. */
export const counted = (key, n, values = {}) => t(n === 1 ? `${key}.one` : `${key}.more`, { n, ...values });

const wordOf = (english) => {
  // A code in a sentence is a word as well: journals hold some.
  const code = codes.get(english.replaceAll("_", " "));
  return code ? carried.words[code] : (carried.sentences[english] ?? null);
};
const translate = translator(carried.sentences, wordOf);
const MOST_KEPT = 400;
const kept = new Map();

/** A text of the page itself among sentences of the daemon. */
export const own = (text) => ({ text: text ?? "", lang: null });

// A weight to lay down is named in the unit that is stamped on it, and what is said of it stays beside it in that unit.
const OF_A_WEIGHT = /\d g, class |as found of | as left |more than .+ carries|too little to check|no weight of |of the weight such as|weights are too much alike/;

/** A sentence of the daemon as it is shown here: the text, and its language where that is not the page's. */
export function say(sentence) {
  if (typeof sentence === "object" && sentence !== null) return sentence;
  const { text, lang } = asNamed(sentence);
  return { text: OF_A_WEIGHT.test(sentence ?? "") ? text : inUnits(text, units()), lang };
}

/** The same with its numbers in the units in which the daemon says them: for what somebody is to lay down. */
export function asNamed(sentence) {
  const english = sentence ?? "";
  if (language === "en" || english === "") return { text: english, lang: null };
  if (!kept.has(english)) {
    if (kept.size >= MOST_KEPT) kept.clear();
    kept.set(english, translate(english));
  }
  const other = kept.get(english);
  return { text: other ?? english, lang: other === null && /[a-z]{3}/i.test(english) ? "en" : null };
}

/** The text alone, where there is no element to mark. */
export const said = (text) => say(text).text;

/** An element with a sentence of the daemon in it. */
export function told(tag, attributes, text) {
  const shown = say(text);
  return el(tag, { lang: shown.lang, ...attributes }, shown.text);
}

/** Puts a sentence of the daemon into an element. */
export function tell(node, text) {
  const shown = say(text);
  setText(node, shown.text);
  setAttribute(node, "lang", shown.lang);
}
