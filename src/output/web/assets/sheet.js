// The club's sheet: every characteristic with target, measured value, deviation and verdict; the heading with the
// club's name and how far the order is.
//
// In: the view and the reading shown large. Out: table and heading, rebuilt when they change.

import { byId, el, rebuild, setAttribute, setText } from "./dom.js";
import { verdictGlyph } from "./glyphs.js";
import { plain, signed, unbroken } from "./words.js";

/** Draws the heading: which club, which order, how far. */
export function drawHeading(view) {
  const { club, order } = view.state ?? {};
  setText(byId("club-title"), club ? club.name : view.state === null ? "…" : "no club open");
  setAttribute(byId("club-title"), "data-long", (club?.name.length ?? 0) > 24);
  setText(
    byId("club-detail"),
    club
      ? [club.club, club.hand ? `${club.hand} hand` : null, plain(club.stage), club.state === "in_work" ? null : plain(club.state)]
          .filter(Boolean)
          .join(" · ")
      : order
        ? `order ${order.order}`
        : "",
  );
  const place = byId("club-progress");
  const clubs = order?.clubs ?? [];
  const mine = clubs.find((candidate) => candidate.club === club?.club);
  place.hidden = !mine;
  rebuild(place, [mine, clubs.length, order?.player], () =>
    mine
      ? [
          el("p", {}, `${mine.done} of ${mine.of} done`),
          el(
            "ol",
            { class: "pips", "aria-hidden": "true" },
            Array.from({ length: Math.min(mine.of, 24) }, (_, index) => el("li", { "data-done": index < mine.done })),
          ),
          el("p", { class: "of-order" }, `club ${clubs.indexOf(mine) + 1} of ${clubs.length}${order.player ? ` for ${order.player}` : ""}`),
        ]
      : [],
  );
}

/** Draws the table; the line that is being measured is marked and kept in sight. */
export function drawSheet(view, reading) {
  const place = byId("sheet");
  const club = view.state?.club ?? null;
  const current = reading?.characteristic ? `${reading.characteristic} ${reading.stage ?? club?.stage}` : null;
  const changed = rebuild(place, [club?.club, club?.characteristics, club?.rule_check, current], () =>
    club ? [table(club, current), rules(club.rule_check, place.querySelector(".rules")?.open)] : el("p", { class: "none" }, "The sheet of a club stands here once an order is open."),
  );
  if (changed) bringIntoSight(place);
}

/** How the club stands to the equipment rules: one sentence, each rule behind it, and that it is no ruling. */
function rules(check, isOpen) {
  if (!check) return null;
  return el(
    "details",
    { class: "rules", open: isOpen === true },
    el("summary", { "data-standing": check.standing, "data-focus": "rules" }, el("b", {}, "equipment rules "), signed(check.text)),
    el(
      "ul",
      {},
      (check.rules ?? []).map((rule) =>
        el("li", { "data-standing": rule.standing }, signed(rule.text), el("small", {}, ` ${rule.source}${rule.note ? `. ${rule.note}` : ""}`)),
      ),
    ),
    el("p", {}, check.note),
  );
}

function bringIntoSight(place) {
  const row = place.querySelector("[data-current]");
  if (!row || place.scrollHeight <= place.clientHeight) return;
  const above = row.offsetTop - place.scrollTop;
  if (above < row.offsetHeight || above > place.clientHeight - row.offsetHeight) {
    place.scrollTop = row.offsetTop - place.clientHeight / 2;
  }
}

function table(club, current) {
  return el(
    "table",
    {},
    el("caption", { class: "aside" }, `sheet of ${club.name} ${club.club}`),
    el(
      "thead",
      {},
      el(
        "tr",
        {},
        ["", "target", "measured", "off by", "verdict"].map((text, index) =>
          index === 0 ? el("td", {}) : el("th", { scope: "col" }, text),
        ),
      ),
    ),
    el(
      "tbody",
      {},
      (club.characteristics ?? []).map((line) => row(line, current)),
    ),
  );
}

function row(line, current) {
  const measured = line.text !== null && line.text !== undefined;
  const verdict = measured ? line.verdict : null;
  return el(
    "tr",
    {
      "data-current": `${line.characteristic} ${line.stage}` === current,
      "data-verdict": verdict ?? "none",
      title: line.instrument ? `${line.method ?? "measured"} on ${plain(line.instrument)}` : null,
    },
    el(
      "th",
      { scope: "row" },
      line.label ?? plain(line.characteristic),
      el("small", {}, plain(line.stage), line.method && line.method !== "measured" ? `, ${plain(line.method)}` : ""),
    ),
    el("td", { class: "target" }, unbroken(line.target_text) || "–"),
    el("td", { class: "measured" }, measured ? signed(line.text) : "–"),
    el("td", { class: "off" }, measured ? signed(line.deviation_text) || "–" : ""),
    el(
      "td",
      { class: "verdict" },
      verdict
        ? el(
            "span",
            { "data-verdict": verdict },
            verdictGlyph(verdict),
            el("span", {}, verdict === "no_target" ? "no target" : verdict, line.marginal ? el("small", {}, "near a limit") : null),
          )
        : null,
    ),
  );
}
