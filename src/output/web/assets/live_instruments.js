// What an instrument shows now, on the pages of the instruments.
//
// In: instruments of the stream. Out: the fields (`data-field`) of the sections that carry an instrument's id. Every text
// comes from the daemon; only the trace is drawn here.

import { setAttribute, rebuild } from "./dom.js";
import { phaseGlyph } from "./glyphs.js";
import { freshness, isHand, mainReading } from "./bench_view.js";
import { drawTrace, newTrace, pushLevel } from "./trace.js";
import { own, plain, say, t, tell } from "./language.js";
import { units } from "./preferences.js";
import { numbersOf } from "./quantities.js";
import { phaseWord, signed, valueOf } from "./words.js";

// Levels at the ends of a trace, in grams or degrees.
const TRACE_DECIMALS = 2;

const known = new Map();

/** Takes the instruments of a message. */
export function takeInstruments(instruments, now_ms) {
  for (const instrument of instruments) {
    const entry = known.get(instrument.id) ?? { trace: newTrace() };
    known.set(instrument.id, { ...entry, reading: instrument, heardAt: now_ms });
    pushLevel(entry.trace, instrument.level, now_ms);
  }
}

/** Draws one section. */
export function drawInstrument(place, now_ms) {
  const entry = known.get(place.dataset.instrument);
  if (!entry) return;
  const instrument = entry.reading;
  const hand = isHand(instrument);
  const gone = freshness(entry, now_ms) === "gone";
  const phase = gone ? "lost" : instrument.phase;
  setAttribute(place, "data-phase", phase);
  rebuild(place.querySelector('[data-field="glyph"]'), [phase, Math.round((instrument.progress ?? 0) * 20)], () =>
    phaseGlyph(phase, instrument.progress),
  );
  const message = gone || hand ? null : instrument.message;
  const word = message ? say(message) : own(gone ? t("not_connected") : hand ? t("ready") : phaseWord(phase));
  field(place, "phase", word);
  field(place, "text", gone ? "– – –" : signed(mainReading(instrument) ? valueOf(mainReading(instrument)) : "") || "–");
  field(place, "noise", gone ? "–" : (instrument.noise_text ?? own(t("moving"))));
  field(place, "zero", gone ? "–" : (instrument.zero_text ?? own(t("not_found"))));
  const { unit, write } = numbersOf({ unit: instrument.level_unit }, units());
  field(place, "unit", own(unit));
  const refused = Object.entries(instrument.refused_by_reason ?? {}).map(([reason, count]) => `${plain(reason)} ${count}`);
  field(place, "refused", own(refused.join(", ") || t("nothing")));
  field(place, "error", instrument.error);
  const error = place.querySelector('[data-field="error"]');
  if (error) error.hidden = !instrument.error;
  const line = place.querySelector('[data-field="trace"]');
  if (line) {
    const { path, top, bottom } = drawTrace(entry.trace, now_ms, (level) => write(level, TRACE_DECIMALS));
    setAttribute(line, "d", path);
    field(place, "trace-top", top);
    field(place, "trace-bottom", bottom);
  }
}

function field(place, name, text) {
  const node = place.querySelector(`[data-field="${name}"]`);
  if (node) tell(node, text);
}
