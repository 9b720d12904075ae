// What the page knows, and what follows from it. Pure: no DOM, no clock; times are arguments.
//
// In: `state` and `live` messages with the time they came (milliseconds of a monotonic clock).
// Out: instruments with their age, which instrument has the focus, which reading still has no place.
// Deliberately absent: any computing of values or verdicts; the daemon alone judges.

/** Digits turn grey after this long without a new sample. */
export const AGED_AFTER_MS = 1000;
/** Digits become dashes after this long. */
export const GONE_AFTER_MS = 3000;

const ACTIVE = new Set(["settling", "held", "disturbed"]);

/** A page that has heard nothing yet. */
export function nothingYet() {
  return { state: null, beat: null, heardAt: null, instruments: new Map(), focusOrder: 0 };
}

/** Takes the whole state: whatever it does not name is gone. */
export function takeState(view, state, now_ms) {
  const before = view.instruments;
  const next = { ...view, state, instruments: new Map(), beat: state.beat ?? view.beat, heardAt: now_ms };
  for (const instrument of state.instruments ?? []) remember(next, before, instrument, now_ms);
  return next;
}

/** Takes a live message: instruments that it does not name keep their last reading and grow old. */
export function takeLive(view, live, now_ms) {
  if (view.state === null) return view;
  const before = view.instruments;
  const next = { ...view, beat: live.beat ?? view.beat, heardAt: now_ms, instruments: new Map(before) };
  next.state = { ...view.state, now: live.now ?? view.state.now };
  for (const instrument of live.instruments ?? []) remember(next, before, instrument, now_ms);
  return next;
}

function remember(next, before, instrument, now_ms) {
  const old = before.get(instrument.id);
  // A new placement or a changed load brings the instrument to the front; lifting off does not.
  const moving = (phase) => phase === "settling" || phase === "disturbed";
  const begins = old
    ? (moving(instrument.phase) && !moving(old.reading.phase)) || (instrument.phase === "held" && !ACTIVE.has(old.reading.phase))
    : ACTIVE.has(instrument.phase);
  if (begins) next.focusOrder += 1;
  next.instruments.set(instrument.id, {
    reading: instrument,
    heardAt: now_ms,
    activeSince: begins ? next.focusOrder : (old?.activeSince ?? 0),
  });
}

/** Age of an instrument's newest sample: what the daemon said plus the time since; infinite if it never sent one. */
export function ageMs(entry, now_ms) {
  const said = entry.reading.age_ms;
  return typeof said === "number" ? said + Math.max(0, now_ms - entry.heardAt) : Infinity;
}

/** Whether an instrument measures no clubs: a scanner, a pedal, a thermometer. */
export const isHand = (instrument) => ["scanner", "pedal", "thermometer"].includes(instrument.kind);

/** `fresh`, `aged` (grey) or `gone` (dashes). An instrument that is not connected is gone at once. */
export function freshness(entry, now_ms) {
  if (!entry.reading.connected || entry.reading.phase === "lost") return "gone";
  // Scanners, pedals and scales that send on a key speak when they are used; their own silence is no age, that of the daemon is.
  const age = isHand(entry.reading) || entry.reading.on_key ? now_ms - entry.heardAt : ageMs(entry, now_ms);
  if (age > GONE_AFTER_MS) return "gone";
  return age > AGED_AFTER_MS ? "aged" : "fresh";
}

/** The instrument shown large: the latest with something going on, else that of the last capture, else the first. */
export function focusEntry(view) {
  const entries = [...view.instruments.values()];
  const active = entries.filter((entry) => ACTIVE.has(entry.reading.phase) && entry.reading.connected);
  if (active.length > 0) return active.reduce((best, entry) => (entry.activeSince > best.activeSince ? entry : best));
  const last = newestFirst(view.state?.captures)[0]?.instrument;
  return entries.find((entry) => entry.reading.id === last) ?? entries.find((entry) => entry.reading.connected) ?? entries[0] ?? null;
}

/** The reading of an instrument that gets the large digits: the chosen one, else the first with a target, else the first. */
export function mainReading(instrument, chosen) {
  const readings = instrument.readings ?? [];
  return (
    readings.find((reading) => chosen && reading.characteristic === chosen) ??
    readings.find((reading) => reading.target !== null && reading.target !== undefined) ??
    readings[0] ??
    null
  );
}

/** Captures, newest first, whatever the order they came in. */
export function newestFirst(captures) {
  return [...(captures ?? [])].sort((a, b) => (a.at < b.at ? 1 : a.at > b.at ? -1 : 0));
}

/** The line of the club's sheet for the value by which a capture is named: of several one that is out of its limits, else one that has limits. */
export function lineOf(view, capture) {
  const lines = view.state?.club?.characteristics ?? [];
  const own = (capture.filed ?? []).map(({ characteristic }) => lines.find((line) => line.event === capture.event && line.characteristic === characteristic));
  const turnOf = ({ verdict }) => (verdict === "over" || verdict === "under" ? 0 : verdict === "within" ? 1 : 2);
  return own.filter(Boolean).sort((one, other) => turnOf(one) - turnOf(other))[0];
}

/** The verdict of a capture whose club is open no more, as of the one that it finished: the worst of its values. */
export function verdictOf(capture) {
  const verdicts = (capture.filed ?? []).map((place) => place.verdict);
  return ["over", "under", "within"].find((verdict) => verdicts.includes(verdict)) ?? null;
}

/** A capture that stands but was refused a place, with a reason (one without a reason is still on its way). */
export const isUnfiled = (capture) => !capture.voided && (capture.filed ?? []).length === 0 && Boolean(capture.reason);

/** The newest reading, if it has no place: it must be seen before work goes on. */
export function loudCapture(view) {
  const newest = newestFirst(view.state?.captures)[0];
  return newest && isUnfiled(newest) ? newest : null;
}

/** The reading that "void last" means: the newest that still stands. */
export const lastStanding = (view) => newestFirst(view.state?.captures).find((capture) => !capture.voided) ?? null;
