// Which sounds a message of the daemon asks for. Pure: no DOM, no clock.
//
// In: what was known, and a `state` or `live` message. Out: what is known now, and the names of sounds. Only a change that was seen
// happening sounds: what was already so when the page (again) joined the stream is silent.

const MOVING = new Set(["settling", "disturbed"]);

/** Nothing known: the next message is taken in silence. */
export const silent = () => ({ phases: new Map(), verdicts: new Map(), fates: null });

/** Takes a message; `joined` says that it is the first one of a connection. */
export function hear(known, message, joined) {
  const sounds = [];
  const next = { phases: new Map(joined ? [] : known.phases), verdicts: new Map(known.verdicts), fates: known.fates };
  for (const instrument of message.instruments ?? []) {
    const before = next.phases.get(instrument.id);
    next.phases.set(instrument.id, instrument.phase);
    if (instrument.phase === "held") {
      next.verdicts.set(instrument.id, (instrument.readings ?? []).map((reading) => reading.verdict));
      if (MOVING.has(before)) sounds.push("settled");
    }
  }
  if (Array.isArray(message.captures)) {
    const fates = new Map(message.captures.map((capture) => [capture.event, fate(capture)]));
    if (known.fates !== null && !joined) {
      for (const capture of [...message.captures].reverse()) {
        if (known.fates.get(capture.event) === fates.get(capture.event)) continue;
        const sound = soundOf(capture, fates.get(capture.event), message.club, next.verdicts);
        if (sound !== null) sounds.push(sound);
      }
    }
    next.fates = fates;
  }
  return { known: next, sounds };
}

function fate(capture) {
  if (capture.voided) return "void";
  if ((capture.filed ?? []).length > 0) return "filed";
  return capture.reason ? "refused" : "open";
}

function soundOf(capture, fate, club, verdicts) {
  if (fate === "refused") return "refused";
  if (fate !== "filed") return null;
  // The sheet knows best; a club that this very reading finished is no longer on it, and what the instrument showed stands in.
  const lines = (club?.characteristics ?? []).filter((line) => line.event === capture.event).map((line) => line.verdict);
  // The reading that finishes a club opens the next one: then the verdict stands with the reading.
  const filed = (capture.filed ?? []).map((place) => place.verdict).filter(Boolean);
  const found = lines.length > 0 ? lines : filed.length > 0 ? filed : (verdicts.get(capture.instrument) ?? []);
  if (found.some((verdict) => verdict === "under" || verdict === "over")) return "out";
  return found.includes("within") ? "within" : null;
}
