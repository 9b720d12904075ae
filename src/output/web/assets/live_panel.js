// The large panel: what is on the instrument now, whether it has settled, how far from its target.
//
// In: the view and the time. Out: heading, phase, digits, facts, scale and the other readings of the instrument.
// While nothing lies on an instrument the digits give way to the next instruction; without an order, to the queue.

import { phaseGlyph, verdictGlyph } from "./glyphs.js";
import { byId, el, rebuild, setAttribute, setProperty, setText } from "./dom.js";
import { ageMs, focusEntry, freshness, lineOf, mainReading, newestFirst, verdictOf } from "./bench_view.js";
import { drawDeviation } from "./deviation_scale.js";
import { own, plain, said, t, tell } from "./language.js";
import { deviationOf, digitWidths, labelOf, namedValues, phaseWord, signed, splitUnit, targetOf, unbroken, valueOf } from "./words.js";

// Which reading of an instrument a person has pressed to see large, by instrument.
const chosen = new Map();
// The digits keep one size for numbers up to this wide.
const FEWEST_WIDTHS = 4.5;

/** Draws the panel; returns what it shows, for the other parts of the page. */
export function drawLive(view, now_ms) {
  const entry = focusEntry(view);
  const instrument = entry?.reading ?? null;
  const fresh = entry ? freshness(entry, now_ms) : "gone";
  const reading = instrument ? mainReading(instrument, chosen.get(instrument.id)) : null;
  const phase = instrument === null ? "none" : fresh === "gone" ? "lost" : instrument.phase;
  const calling = view.state !== null && (instrument === null || instrument.phase === "empty");

  setAttribute(byId("live"), "data-phase", phase);
  setAttribute(byId("live"), "data-fresh", fresh);
  setAttribute(byId("live"), "data-calling", calling);
  drawHead(view, entry, reading, phase, fresh, calling, now_ms);
  drawDigits(view, reading, fresh, calling, phase);
  drawFacts(view, reading, fresh, calling);
  drawSettling(instrument, phase);
  drawDeviation(calling ? null : reading, fresh);
  drawCompanions(view, instrument, reading, fresh, calling);
  return { instrument, reading: calling ? null : reading, fresh, calling };
}

function drawHead(view, entry, reading, phase, fresh, calling, now_ms) {
  const instrument = entry?.reading;
  const title =
    view.state === null
      ? t("waiting")
      : !instrument
        ? t("no_instrument")
        : !calling && reading?.characteristic
          ? labelOf(reading.characteristic)
          : instrument.name;
  setText(byId("live-title"), title);
  setText(byId("live-where"), instrument && title !== instrument.name ? t("on_instrument", { name: instrument.name }) : "");
  const seconds = entry ? ageMs(entry, now_ms) / 1000 : Infinity;
  const word = !instrument
    ? ""
    : fresh === "fresh"
      ? phaseWord(phase)
      : fresh === "aged"
        ? t("phase_old", { phase: phaseWord(phase), s: seconds.toFixed(0) })
        : instrument.connected && instrument.phase !== "lost"
          ? t("no_readings")
          : t("not_connected");
  setText(byId("phase-word"), word);
  rebuild(byId("phase-glyph"), [phase, instrument?.progress], () => (instrument ? phaseGlyph(phase, instrument.progress) : null));
}

function drawDigits(view, reading, fresh, calling, phase) {
  const digits = byId("digits");
  const call = byId("call");
  digits.hidden = calling;
  call.hidden = !calling;
  if (calling) {
    tell(call, callText(view));
    const text = call.textContent;
    // The lines the text is meant to take, so that it fills the panel; the words decide where it breaks.
    const lines = text.length > 60 ? 4 : text.length > 30 ? 3 : 2;
    setProperty(call, "--lines", lines);
    setProperty(call, "--letters", Math.max(7, Math.ceil(text.length / lines) + 2));
    return;
  }
  const whole = reading ? (deviationOf(reading) ?? valueOf(reading)) : null;
  const parts = fresh === "gone" || whole === null ? { number: "– – –", unit: "" } : splitUnit(whole);
  setText(byId("number"), parts.number);
  setText(byId("unit"), parts.unit);
  setAttribute(digits, "data-words", parts.unit === "" && /[a-z]{2}/i.test(parts.number));
  setAttribute(digits, "aria-label", fresh === "gone" ? t("no_reading") : `${whole ?? t("no_reading")}, ${phase === "none" ? "" : phaseWord(phase)}`);
  setProperty(digits, "--widths", Math.max(FEWEST_WIDTHS, digitWidths(parts.number) + 0.4 * parts.unit.length).toFixed(1));
}

function callText(view) {
  const state = view.state;
  if (state.club?.next) return state.club.next;
  if (state.club) return own(t("call.nothing_more"));
  return own(t(state.queue?.length ? "call.open_order" : "call.no_order"));
}

function drawFacts(view, reading, fresh, calling) {
  const facts = [];
  if (calling) {
    const last = newestFirst(view.state?.captures)[0];
    if (last) {
      const filed = last.filed?.[0];
      // One reading may have several values; number and verdict are those of the one that is named.
      const line = lineOf(view, last);
      facts.push({
        term: !filed ? t("last_reading") : line ? plain(line.characteristic) : filed.club,
        text: last.voided ? `${namedValues(last)}, ${t("void")}` : line ? valueOf(line) : namedValues(last),
        verdict: last.voided ? null : line ? line.verdict : verdictOf(last),
        more: last.voided || !line ? "" : deviationOf(line),
      });
    }
  } else if (reading) {
    const gone = fresh === "gone";
    if (reading.deviation_text) facts.push({ term: t("reads"), text: gone ? "–" : valueOf(reading), dim: gone });
    if (reading.target_text) facts.push({ term: t("target"), text: unbroken(targetOf(reading)) });
    else facts.push({ term: t("target"), text: t("none_set") });
  }
  rebuild(byId("facts"), facts, () =>
    facts.map((fact) =>
      el(
        "div",
        { "data-dim": fact.dim },
        el("dt", {}, fact.term),
        el(
          "dd",
          {},
          signed(fact.text),
          fact.verdict
            ? el(
                "span",
                { class: "fact-verdict", "data-verdict": fact.verdict },
                verdictGlyph(fact.verdict),
                ` ${signed(fact.more)} ${plain(fact.verdict)}`,
              )
            : null,
        ),
      ),
    ),
  );
}

function drawSettling(instrument, phase) {
  const settle = byId("settle");
  const progress = phase === "held" ? 1 : phase === "settling" ? Math.min(1, Math.max(0, instrument?.progress ?? 0)) : 0;
  setProperty(settle, "--progress", progress.toFixed(3));
  setAttribute(settle, "aria-valuenow", Math.round(progress * 100));
  setAttribute(settle, "aria-valuetext", phase === "none" ? t("no_instrument") : phaseWord(phase));
}

function drawCompanions(view, instrument, main, fresh, calling) {
  const place = byId("companions");
  const others = calling ? [] : (instrument?.readings ?? []).filter((reading) => reading !== main);
  place.hidden = others.length === 0;
  const gone = fresh === "gone";
  rebuild(place, [instrument?.id, others, fresh], () =>
    others.map((reading) =>
      el(
        "button",
        {
          type: "button",
          class: "companion",
          "data-focus": `companion-${reading.characteristic}`,
          "data-fresh": fresh,
          title: t("show_large"),
          onclick: () => {
            chosen.set(instrument.id, reading.characteristic);
          },
        },
        el("span", { class: "companion-label" }, labelOf(reading.characteristic)),
        el("span", { class: "companion-text" }, gone ? "– – –" : signed(valueOf(reading))),
        gone || !reading.verdict || reading.verdict === "no_target"
          ? el("span", { class: "companion-deviation" }, gone ? "" : plain("no_target"))
          : el(
              "span",
              { class: "companion-deviation", "data-verdict": reading.verdict },
              verdictGlyph(reading.verdict),
              `${signed(deviationOf(reading))} ${plain(reading.verdict)}`,
            ),
      ),
    ),
  );
}
