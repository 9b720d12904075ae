// One tile for each instrument: its name, its phase and its main reading, each with its own age.
//
// In: the view, the time and which instrument is shown large. Out: nought to six tiles that keep their nodes.

import { byId, el, rebuild, setAttribute, setText } from "./dom.js";
import { phaseGlyph } from "./glyphs.js";
import { freshness, isHand, mainReading } from "./bench_view.js";
import { asNamed, own, said, t, tell } from "./language.js";
import { phaseWord, signed, valueOf } from "./words.js";

/** Draws the tiles. */
export function drawInstruments(view, focused, now_ms) {
  const place = byId("instruments");
  const entries = [...view.instruments.values()];
  rebuild(place, [entries.map((entry) => [entry.reading.id, entry.reading.name]), view.state === null], () =>
    entries.length
      ? entries.map((entry) =>
          el(
            "div",
            { class: "tile", "data-id": entry.reading.id },
            el("p", { class: "tile-name" }, entry.reading.name),
            el("p", { class: "tile-text" }),
            el("p", { class: "tile-phase" }, el("span", { class: "tile-glyph" }), el("span", { class: "tile-word" })),
            el("a", { class: "tile-next", href: "studies", hidden: true }),
          ),
        )
      : el("p", { class: "none" }, view.state === null ? "" : t("no_instrument_set_up")),
  );
  for (const tile of place.querySelectorAll(".tile")) {
    const entry = view.instruments.get(tile.dataset.id);
    if (entry) drawTile(tile, entry, entry.reading.id === focused, freshness(entry, now_ms));
  }
}

function drawTile(tile, entry, focused, fresh) {
  const instrument = entry.reading;
  const phase = fresh === "gone" ? "lost" : instrument.phase;
  const reading = mainReading(instrument);
  setAttribute(tile, "data-fresh", fresh);
  setAttribute(tile, "data-phase", phase);
  setAttribute(tile, "data-focused", focused);
  setText(tile.querySelector(".tile-text"), fresh === "gone" ? "– – –" : signed(reading ? valueOf(reading) : "") || "–");
  const word =
    fresh === "fresh"
      ? isHand(instrument)
        ? t("ready")
        : phaseWord(phase)
      : fresh === "aged"
        ? t("old")
        : instrument.error ? said(instrument.error) : t(instrument.connected ? "no_readings" : "not_connected");
  setText(tile.querySelector(".tile-word"), word);
  const next = instrument.study ?? instrument.intake ?? (instrument.awaiting ? own(t("lay_on", { what: asNamed(instrument.awaiting).text })) : null);
  tell(tile.querySelector(".tile-next"), next);
  setAttribute(tile.querySelector(".tile-next"), "hidden", !next);
  rebuild(tile.querySelector(".tile-glyph"), [phase, Math.round((instrument.progress ?? 0) * 20)], () =>
    phaseGlyph(phase, instrument.progress),
  );
}
