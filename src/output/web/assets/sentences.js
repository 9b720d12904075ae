// What the daemon says in whole English sentences, in another language. Pure: no DOM.
//
// In: patterns, an English sentence with places in braces each, and the sentence they become. Out: the sentence, or null: what no
// pattern fits stays whole in English, never half of it. The English sentence is the key because the journal keeps reasons as they
// were said, for ever; a test holds every pattern against the sources that say it.
//
// Places by their first letter: `q` a number with its unit, `m` masses in a row, `w` a word that must be known (`swing weight`), `s` a sentence that must
// have a pattern itself, `l` such sentences after commas, `t` any text, taken as it is (a club, an instrument, a part).

const KINDS = {
  q: "([+−±-]? ?[A-Z]?\\d[\\d. /]*(?: ?(?:mg|g|mm|in|kg·cm²|g·cm²|cm³|cpm|points?|pt|deg|°C|°|%|s|min|h))?)",
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
    for (const { head, tail, shape, places, other } of rules) {
      // Most rules end here, before the browser has to compile their shape.
      if (!text.startsWith(head) || !text.endsWith(tail)) continue;
      const found = shape.exec(text);
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
  const places = [];
  const shape = english
    .split(/(\{\w+\})/)
    .map((piece) => {
      const place = /^\{(\w+)\}$/.exec(piece)?.[1];
      if (!place) return piece.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");
      places.push(place);
      return KINDS[place[0]];
    })
    .join("");
  const [head, tail] = [english.slice(0, (english.indexOf("{") + 1 || english.length + 1) - 1), english.slice(english.lastIndexOf("}") + 1)];
  return { head, tail, shape: new RegExp(`^${shape}$`), places, other };
}
