// The club's sheet: every characteristic with target, measured value, deviation and verdict; the heading with the
// club's name and how far the order is.
//
// In: the view and the reading shown large. Out: table and heading, rebuilt when they change.

import { byId, el, rebuild, setAttribute, setText } from "./dom.js";
import { verdictGlyph } from "./glyphs.js";
import { plain, t, told } from "./language.js";
import { deviationOf, handWord, signed, targetOf, unbroken, valueOf } from "./words.js";

/** Draws the heading: which club, which order, how far. */
export function drawHeading(view) {
  const { club, order } = view.state ?? {};
  setText(byId("club-title"), club ? club.name : view.state === null ? "…" : t("no_club"));
  setAttribute(byId("club-title"), "data-long", (club?.name.length ?? 0) > 24);
  setText(
    byId("club-detail"),
    club
      ? [club.club, club.hand ? handWord(club.hand) : null, plain(club.stage), club.state === "in_work" ? null : plain(club.state)]
          .filter(Boolean)
          .join(" · ")
      : order
        ? t("order_named", { order: order.order })
        : "",
  );
  const place = byId("club-progress");
  const clubs = order?.clubs ?? [];
  const mine = clubs.find((candidate) => candidate.club === club?.club);
  place.hidden = !mine;
  rebuild(place, [mine, clubs.length, order?.player], () =>
    mine
      ? [
          el("p", {}, t("done_of", { done: mine.done, of: mine.of })),
          el(
            "ol",
            { class: "pips", "aria-hidden": "true" },
            Array.from({ length: Math.min(mine.of, 24) }, (_, index) => el("li", { "data-done": index < mine.done })),
          ),
          el("p", { class: "of-order" }, t(order.player ? "club_of_for" : "club_of", { n: clubs.indexOf(mine) + 1, of: clubs.length, player: order.player })),
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
    club ? [table(club, current), rules(club.rule_check, place.querySelector(".rules")?.open)] : el("p", { class: "none" }, t("sheet_empty")),
  );
  // When the browser has laid out the page: asked now, it would have to do so twice.
  if (changed) requestAnimationFrame(() => bringIntoSight(place));
}

/** How the club stands to the equipment rules: one sentence, each rule behind it, and that it is no ruling. */
function rules(check, isOpen) {
  if (!check) return null;
  return el(
    "details",
    { class: "rules", open: isOpen === true },
    el("summary", { "data-standing": check.standing, "data-focus": "rules" }, el("b", {}, t("rules")), " ", told("span", {}, signed(check.text))),
    el(
      "ul",
      {},
      (check.rules ?? []).map((rule) =>
        el("li", { "data-standing": rule.standing }, told("span", {}, signed(rule.text)), " ", el("small", {}, told("span", {}, rule.source), rule.note ? ". " : null, rule.note ? told("span", {}, rule.note) : null)),
      ),
    ),
    told("p", {}, check.note),
  );
}

function bringIntoSight(place) {
  // While nothing is measured, what comes next is in question: the first line without a value.
  const row = place.querySelector("[data-current]") ?? place.querySelector('tbody tr[data-verdict="none"]');
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
    el("caption", { class: "aside" }, t("sheet_of", { name: club.name, club: club.club })),
    el(
      "thead",
      {},
      el(
        "tr",
        {},
        ["", t("target"), t("measured"), t("off_by"), t("verdict")].map((text, index) =>
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
      title: line.instrument ? `${plain(line.method ?? "measured")}: ${plain(line.instrument)}` : null,
    },
    el(
      "th",
      { scope: "row" },
      plain(line.characteristic),
      el("small", {}, plain(line.stage), line.method && line.method !== "measured" ? `, ${plain(line.method)}` : ""),
    ),
    el("td", { class: "target" }, unbroken(targetOf(line)) || "–"),
    el("td", { class: "measured" }, measured ? signed(valueOf(line)) : "–"),
    el("td", { class: "off" }, measured ? signed(deviationOf(line)) || "–" : ""),
    el(
      "td",
      { class: "verdict" },
      verdict
        ? el(
            "span",
            { "data-verdict": verdict },
            verdictGlyph(verdict),
            el("span", {}, plain(verdict), line.marginal ? el("small", {}, t("near_limit")) : null),
          )
        : null,
    ),
  );
}
