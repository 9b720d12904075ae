// What the daemon says in whole English sentences, in another language. Pure: no DOM.
//
// In: patterns, an English sentence with places in braces each, and the sentence they become. Out: the sentence, or null: what no
// pattern fits stays whole in English, never half of it. The English sentence is the key because the journal keeps reasons as they
// were said, for ever; a test holds every pattern against the sources that say it.
//
// Places by their first letter: `q` a number with its unit, `m` masses in a row, `w` a word that must be known (`swing weight`), `s` a sentence that must
// have a pattern itself, `l` such sentences after commas, `t` any text, taken as it is (a club, an instrument, a part).

const KINDS = {
  q: "([+−±-]? ?[A-Z]?\\d[\\d. /]*(?: ?(?:mg|g|oz|mm|in|kg·cm²|g·cm²|cm³|cpm|points?|pt|deg|°C|°|%|s|min|h))?)",
  w: "([^;:]+?)",
  m: "((?:\\d+ × )?[\\d.]+ g(?: \\+ (?:\\d+ × )?[\\d.]+ g)*)",
  s: "(.+?)",
  l: "(.+?)",
  t: "(.+?)",
};
const DEEPEST = 5;

/** Makes a function that renders a sentence; `word` gives the word for an English one, or null. */
export function translator(patterns, word) {
  let rules = null;
  const render = (text, depth) => {
    if (depth > DEEPEST) return null;
    rules ??= Object.entries(patterns).map(([english, other]) => rule(english, other));
    for (const rule of rules) {
      // Most rules end here, before the browser has to make their shape.
      if (!mayFit(rule.between, text)) continue;
      const { places, other } = rule;
      rule.shape ??= shapeOf(rule);
      const found = rule.shape.exec(text);
      if (found === null) continue;
      const values = {};
      const whole = places.every((place, index) => {
        values[place] = value(place[0], found[index + 1], depth);
        return values[place] !== null;
      });
      if (whole) return other.replace(/\{(\w+)\}/g, (_, place) => values[place]);
    }
    return null;
  };
  const value = (kind, text, depth) => {
    if (kind === "w") return word(text);
    if (kind === "s") return render(text, depth + 1) ?? word(text);
    if (kind === "l") {
      const parts = text.split(/, (?!\d)/).map((part) => word(part) ?? render(part, depth + 1));
      return parts.includes(null) ? null : parts.join(", ");
    }
    if (kind === "q") return text.replace(/ points?$/, (unit) => ` ${word(unit.trim()) ?? unit.trim()}`);
    return text;
  };
  return (text) => word(text) ?? render(text, 0);
}

function rule(english, other) {
  const pieces = english.split(/\{(\w+)\}/);
  return { between: pieces.filter((_, at) => at % 2 === 0), places: pieces.filter((_, at) => at % 2 === 1), shape: null, other };
}

// Whether everything between the places stands in the text, in order.
function mayFit(between, text) {
  const last = between.at(-1);
  if (!text.startsWith(between[0]) || !text.endsWith(last)) return false;
  let from = between[0].length;
  for (let at = 1; at < between.length - 1; at += 1) {
    from = text.indexOf(between[at], from);
    if (from < 0) return false;
    from += between[at].length;
  }
  return between.length > 1 ? from <= text.length - last.length : text === last;
}

function shapeOf({ between, places }) {
  const escaped = between.map((piece) => piece.replace(/[.*+?^${}()|[\]\\]/g, "\\$&"));
  return new RegExp(`^${escaped.map((piece, at) => piece + (at < places.length ? KINDS[places[at][0]] : "")).join("")}$`);
}
