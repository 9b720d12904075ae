// Values in the units that somebody likes: inches in fractions or millimetres for lengths, ounces or grams for masses. Pure.
//
// In: values as the daemon sends them (millimetres and grams, with its own texts). Out: texts. Only the display changes; where
// nobody chose, the daemon's text stands. Lengths are the club's length: other distances are read off a rule in millimetres.

/** An inch, exactly (international yard of 1959; NIST Handbook 44, Appendix C). */
export const MM_PER_INCH = 25.4;
/** An avoirdupois ounce, exactly: a sixteenth of 0.453 592 37 kg (NIST Handbook 44, Appendix C). */
export const G_PER_OUNCE = 28.349523125;

/** What a length is rounded to, in parts of an inch. */
const INCH_PARTS = 16;
/** Finest fraction that is shown of a length that lies on it: somebody has written it so. */
const WRITTEN_PARTS = 64;
/** What arithmetic may leave between a length and the fraction it was written as, in millimetres. */
const ON_IT_MM = 1e-6;
/** A thousandth of an ounce is 0.03 g, finer than the tenth of a gram that it stands for. */
const OUNCE_DECIMALS = 3;

/** Inches and the nearest sixteenth, reduced: `45 1/4 in`; what lies on a 32nd or 64th as it was written: `43 1/32 in`. */
export function inches(mm) {
  const finest = MM_PER_INCH / WRITTEN_PARTS;
  const isWritten = Math.abs(mm - Math.round(mm / finest) * finest) <= ON_IT_MM;
  const parts = isWritten ? WRITTEN_PARTS : INCH_PARTS;
  const all = Math.round((mm / MM_PER_INCH) * parts);
  const whole = Math.floor(all / parts);
  let [above, below] = [all % parts, parts];
  while (above > 0 && above % 2 === 0) [above, below] = [above / 2, below / 2];
  const written = [whole > 0 || above === 0 ? String(whole) : null, above > 0 ? `${above}/${below}` : null];
  return `${written.filter(Boolean).join(" ")} in`;
}

// Halves away from nothing, as the daemon rounds.
const millimetres = (mm) => `${((Math.sign(mm) * Math.round(Math.abs(mm) * 10)) / 10 || 0).toFixed(1)} mm`;
// What rounds to nothing has no sign.
const ounces = (grams, decimals = OUNCE_DECIMALS) => `${(grams / G_PER_OUNCE).toFixed(decimals).replace(/^-(?=[0.]+$)/, "")} oz`;
/** Plain numbers in a unit some thirty times as large keep what they told with so many decimals more. */
const FINER = 2;

/** How plain numbers, such as those of an axis, are written: their unit, and a number with the decimals that it has in the daemon's. */
export function numbersOf({ characteristic, unit }, units) {
  const [per, shown] =
    unit === "g" && units.masses === "oz" ? [G_PER_OUNCE, "oz"] : characteristic === "length" && units.lengths === "in" ? [MM_PER_INCH, "in"] : [1, unit];
  const write = (value, decimals) =>
    (value / per)
      .toFixed(decimals + (per === 1 ? 0 : FINER))
      .replace(/^-(?=[0.]+$)/, "")
      .replace("-", "−");
  return { unit: shown, write };
}

// As fine as the grams were written.
const decimalsFor = (grams) => {
  const written = grams.split(".")[1]?.length ?? 0;
  return written > 2 ? written + 2 : OUNCE_DECIMALS;
};

// How a size is written, or null where the daemon's text stands.
function writer({ characteristic, unit }, units) {
  if (unit === "g" && units.masses === "oz") return ounces;
  if (characteristic === "length" && units.lengths === "in") return inches;
  if (characteristic === "length" && units.lengths === "mm") return millimetres;
  return null;
}

const isNumber = (value) => typeof value === "number" && Number.isFinite(value);

/** The value of a reading. */
export function valueText(reading, units) {
  const write = writer(reading, units);
  return write && isNumber(reading.value) ? write(reading.value) : (reading.text ?? null);
}

function withSign(write, difference) {
  const size = write(Math.abs(difference));
  // What rounds to nothing has no sign.
  return /[1-9]/.test(size) ? `${difference < 0 ? "−" : "+"}${size}` : size;
}

/** How far a reading is from its target. */
export function deviationText(reading, units) {
  const write = writer(reading, units);
  return write && isNumber(reading.deviation) ? withSign(write, reading.deviation) : (reading.deviation_text ?? null);
}

/** What the daemon writes behind limits that the order does not. */
const BY_DEFAULT = ", by default";

/** A target with its limits; `words` has `at_most`, `at_least` and `by_default`. */
export function targetText(reading, units, words) {
  const write = writer(reading, units);
  const { target, lower, upper } = reading;
  if (!write || !reading.target_text) return reading.target_text ?? null;
  if (isNumber(target) && isNumber(lower) && isNumber(upper)) {
    const [below, above] = [target - lower, upper - target];
    const limits = Math.abs(above - below) < 1e-6 ? `± ${write(above)}` : `${withSign(write, above)}/${withSign(write, -below)}`;
    const text = `${write(target)} ${limits}`;
    return reading.target_text.endsWith(BY_DEFAULT) ? words.by_default(text) : text;
  }
  if (isNumber(upper)) return words.at_most(write(upper));
  if (isNumber(lower)) return words.at_least(write(lower));
  return isNumber(target) ? write(target) : reading.target_text;
}

/** The distance of a limit from the target, where the units were chosen; else null. */
export function limitText(reading, limit, units) {
  const write = writer(reading, units);
  return write && isNumber(limit) && isNumber(reading.target) ? withSign(write, limit - reading.target) : null;
}

const FRACTION = /(?<![\d.])(\d+)(?: (\d+)\/(\d+))? in\b(?!·)|(?<![\d./])(\d+)\/(\d+) in\b/g;

/** A sentence with the masses and inches in it in the units that somebody chose; a sixteenth of an inch is more than a millimetre wide, what is finer is not. */
export function inUnits(text, units) {
  let shown = text;
  if (units.masses === "oz") {
    shown = shown
      .replace(/(\d+(?:\.\d+)?)( to | bis | ± )(\d+(?:\.\d+)?) g\b/g, (_, from, word, to) => `${bare(from)}${word}${ounces(Number(to))}`)
      .replace(/(\d+(?:\.\d+)?) g\b(?!·)/g, (_, grams) => ounces(Number(grams), decimalsFor(grams)));
  }
  if (units.lengths === "mm") {
    // What stands in both units already needs no second time.
    shown = shown.replace(/( mm) \([\d /]+ in\)/g, "$1").replace(/(\d+\.\d+) in\b(?!·)/g, (_, decimal) => millimetres(Number(decimal) * MM_PER_INCH)).replace(FRACTION, (_, whole, above, below, only, under) => {
      const parts = only ? Number(only) / Number(under) : Number(whole) + (above ? Number(above) / Number(below) : 0);
      const isFine = Number(below ?? under ?? 1) > INCH_PARTS;
      return `${(parts * MM_PER_INCH).toFixed(isFine ? 1 : 0)} mm`;
    });
  }
  return shown;
}

const bare = (grams) => (Number(grams) / G_PER_OUNCE).toFixed(OUNCE_DECIMALS);
