// Where the shaft is cut: the marks of the open club with their second measurements, in the step's section.
//
// In: the club as the daemon describes it. Out: lines, a button to type the second measurement, and one to cut all the same
// with a name and a reason. Deliberately absent: any judging; the daemon says whether two measurements agree.

import { el } from "./dom.js";
import { askMark, askOverride } from "./asking.js";
import { t, told } from "./language.js";
import { signed } from "./words.js";

/** The marks that are not cut yet; null when there is nothing to show. */
export function cuts(club) {
  const cut = club?.cut;
  if (!cut) return null;
  if (cut.trouble) return told("p", { class: "cut-trouble", role: "alert" }, `no cut marks: ${cut.trouble}`);
  const open = cut.marks.filter((mark) => !mark.is_past);
  return open.length
    ? el("div", { class: "cuts", role: "group", "aria-label": t("cut_marks") }, open.map((mark) => line(club, mark)))
    : null;
}

function line(club, mark) {
  return el(
    "div",
    { class: "cut", "data-standing": mark.standing },
    el("p", {}, el("b", {}, t(`mark.${mark.mark}`)), " ", told("span", {}, signed(mark.text))),
    told("p", {}, signed(`second measurement ${mark.again_text}`)),
    told("p", { class: "cut-standing" }, signed(mark.standing_text)),
    el(
      "div",
      { class: "buttons" },
      el(
        "button",
        { type: "button", class: mark.may_cut ? null : "strong", "data-focus": `mark-${mark.mark}`, onclick: () => askMark(club, mark) },
        // Two marks may wait at once, and each has its button.
        `${t(`mark.${mark.mark}`)} ${mark.may_cut ? t("measure_again") : t("type_second")}`,
      ),
      mark.may_cut
        ? null
        : el("button", { type: "button", "data-focus": `override-${mark.mark}`, onclick: () => askOverride(club, mark) }, t("cut_all_the_same")),
    ),
  );
}
