// The last readings: when, from where, how much, and where each was filed or why not.
//
// In: the view. Out: the list with a void button each, and choices for one that still has no place.

import { byId, el, rebuild } from "./dom.js";
import { isUnfiled, lastStanding, loudCapture, newestFirst } from "./bench_view.js";
import { askChoice, askVoid } from "./asking.js";
import { plain, said, t, told } from "./language.js";
import { signed, timeOfDay } from "./words.js";

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

function item(capture, names, club, isLoud) {
  const unfiled = isUnfiled(capture);
  const places = (capture.filed ?? []).map(
    (place) => `${place.club === club ? plain(place.characteristic) : t("of_club", { what: plain(place.characteristic), club: place.club })}, ${plain(place.stage)}`,
  );
  return el(
    "li",
    { "data-voided": capture.voided, "data-unfiled": unfiled },
    el("time", { datetime: capture.at }, timeOfDay(capture.at)),
    el("p", { class: "capture-text" }, el("b", {}, signed(said(capture.text))), el("small", {}, ` ${said(capture.u_text)}`)),
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
              "aria-label": t("void_named", { text: said(capture.text) }),
              onclick: () => askVoid(capture),
            },
            t("void_this"),
          ),
        ),
  );
}

function fateOf(capture, unfiled, isLoud, places) {
  if (capture.voided) return [t("void")];
  if (!unfiled) return [capture.note ? told("span", {}, capture.note) : places.join("; ")];
  return isLoud ? [t("not_filed")] : [`${t("not_filed")}: `, told("span", {}, capture.reason)];
}
