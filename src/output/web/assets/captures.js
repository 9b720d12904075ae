// The last readings: when, from where, how much, and where each was filed or why not.
//
// In: the view. Out: the list with a void button each, and choices for one that still has no place.

import { byId, el, rebuild } from "./dom.js";
import { verdictGlyph } from "./glyphs.js";
import { isUnfiled, lastStanding, lineOf, loudCapture, newestFirst, verdictOf } from "./bench_view.js";
import { askChoice, askVoid } from "./asking.js";
import { plain, said, t, told } from "./language.js";
import { namedValues, signed, timeOfDay } from "./words.js";

const SHOWN = 12;

/** Draws the list. */
export function drawCaptures(view) {
  const captures = newestFirst(view.state?.captures).slice(0, SHOWN);
  const names = new Map((view.state?.instruments ?? []).map((instrument) => [instrument.id, instrument.name]));
  const club = view.state?.club?.club ?? null;
  const loud = loudCapture(view);
  byId("void-button").disabled = lastStanding(view) === null;
  byId("enter-button").disabled = club === null;
  rebuild(byId("captures"), [captures, [...names], club], () =>
    captures.length
      ? captures.map((capture) => item(capture, names, club, capture === loud))
      : el("li", { class: "none" }, t("no_reading_yet")),
  );
}

/**
 * Draws what became of the newest reading in one line: read from afar, the list stands below the fold. One without a place is said
 * louder, and where nothing lies on an instrument one with a place stands in the large panel already.
 */
export function drawFate(view, calling) {
  const newest = newestFirst(view.state?.captures)[0] ?? null;
  const isSaid = newest === null || newest === loudCapture(view) || (calling && newest.filed?.length > 0);
  const club = view.state?.club?.club ?? null;
  const line = newest && lineOf(view, newest);
  const verdict = isSaid || newest.voided ? null : line ? line.verdict : verdictOf(newest);
  byId("fate").hidden = isSaid;
  rebuild(byId("fate"), [isSaid, newest, club, verdict], () =>
    isSaid
      ? []
      : [
          el("span", { class: "fate-label" }, t("last_reading")),
          ` ${namedValues(newest)} · `,
          ...fateOf(newest, isUnfiled(newest), false, placesOf(newest, club)),
          verdict && verdict !== "no_target" ? el("span", { "data-verdict": verdict }, " ", verdictGlyph(verdict), ` ${plain(verdict)}`) : null,
        ].filter(Boolean),
  );
}

const placesOf = (capture, club) => (capture.filed ?? []).map((place) => (place.club === club ? plain(place.stage) : `${place.club}, ${plain(place.stage)}`));

function item(capture, names, club, isLoud) {
  const unfiled = isUnfiled(capture);
  const places = placesOf(capture, club);
  return el(
    "li",
    { "data-voided": capture.voided, "data-unfiled": unfiled },
    el("time", { datetime: capture.at }, timeOfDay(capture.at)),
    el("p", { class: "capture-text" }, numbers(capture)),
    el(
      "p",
      { class: "capture-place" },
      ...fateOf(capture, unfiled, isLoud, places),
      el("small", {}, names.get(capture.instrument) ?? plain(capture.instrument)),
    ),
    capture.voided
      ? null
      : el(
          "div",
          { class: "capture-buttons" },
          unfiled && !isLoud && (capture.choices ?? []).length
            ? el("button", { type: "button", "data-focus": `choose-${capture.event}`, onclick: () => askChoice(capture) }, t("file"))
            : null,
          el(
            "button",
            {
              type: "button",
              "data-focus": `drop-${capture.event}`,
              "aria-label": t("void_named", { text: namedValues(capture) }),
              onclick: () => askVoid(capture),
            },
            t("void_this"),
          ),
        ),
  );
}

// Every number under its own name: of a reading with several nobody should have to know their order.
function numbers(capture) {
  const values = capture.values?.length ? capture.values : [{ what: null, text: capture.text, u_text: capture.u_text }];
  return values.map((value) =>
    el("span", {}, value.what ? el("span", { class: "capture-what" }, `${plain(value.what)} `) : null, el("b", {}, signed(said(value.text))), el("small", {}, ` ${said(value.u_text)}`)),
  );
}

function fateOf(capture, unfiled, isLoud, places) {
  if (capture.voided) return [t("void")];
  if (!unfiled) return [capture.note ? told("span", {}, capture.note) : [...new Set(places)].join("; ")];
  return isLoud ? [t("not_filed")] : [`${t("not_filed")}: `, told("span", {}, capture.reason)];
}
