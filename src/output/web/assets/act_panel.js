// What to do: the instruction for this moment, what comes then, and advice; or, louder than all, a reading that found no
// place, with its reason and the choices. And the step that waits to be marked done, with its cautions.
//
// In: the view and what the live panel shows. Out: two sections, rebuilt when their content changes.

import { byId, el, rebuild, setAttribute } from "./dom.js";
import { warningGlyph } from "./glyphs.js";
import { loudCapture } from "./bench_view.js";
import { commandListener } from "./command.js";
import { cuts } from "./cut_panel.js";
import { askHandOver, askVoid } from "./asking.js";
import { drawers, drawersKey } from "./drawers.js";
import { counted, own, plain, say, t, told } from "./language.js";
import { units } from "./preferences.js";
import { inUnits } from "./quantities.js";
import { namedValues, phaseAdvice, signed, unitWord } from "./words.js";

/** Draws the section. */
export function drawAct(view, shown) {
  const place = byId("act");
  const loud = loudCapture(view);
  const club = view.state?.club ?? null;
  const now =
    shown.calling || !shown.instrument
      ? null
      : shown.fresh === "gone" && shown.instrument.connected
        ? own(silence(shown.instrument))
        : shown.instrument.message
          ? say(shown.instrument.message)
          : own(phaseAdvice(shown.instrument));
  const queue = club || view.state === null ? [] : (view.state.queue ?? []);
  const name = (id) => view.state?.instruments?.find((instrument) => instrument.id === id)?.name ?? plain(id);
  const changed = rebuild(place, [loud, now, club?.club, club?.next, club?.advice, club?.bending?.advice, forecast(club), club && notForecast(club), shown.calling, queue, view.state === null, view.state?.next_in_turn, drawersKey(view.state)], () => [
    loud ? unfiled(loud, name) : null,
    loud ? null : guidance(club, now, shown.calling, view.state?.next_in_turn),
    loud || shown.calling ? null : drawers(view.state),
    loud || shown.calling ? null : asides(club),
    club || view.state === null || (loud && queue.length === 0) ? null : openings(queue),
  ]);
  if (changed) watchRoom(place, ".unfiled-text, .unfiled-why");
}

// What does not fit is scrolled to, the part itself or what of it is named; a keyboard must be able to do that as well. The room of a
// part changes with what stands beside it, too; the observer speaks when the browser has laid out the page anyway.
const rooms = new Map();
function watchRoom(place, within = null) {
  const scrolled = () => [place, ...(within ? place.querySelectorAll(within) : [])];
  const isScrolled = (node) => node.scrollHeight > node.clientHeight + 1 && getComputedStyle(node).overflowY === "auto";
  if (!rooms.has(place)) {
    rooms.set(place, new ResizeObserver(() => scrolled().forEach((node) => setAttribute(node, "tabindex", isScrolled(node) ? 0 : null))));
  }
  const room = rooms.get(place);
  room.disconnect();
  for (const node of [...scrolled(), ...place.children]) room.observe(node);
}

function silence(instrument) {
  const reasons = Object.entries(instrument.refused_by_reason ?? {});
  const counts = reasons.map(([reason, count]) => `${count} ${plain(reason)}`).join(", ");
  const refused = instrument.refused > 0 ? t("silence.refused", { counts: counts || instrument.refused }) : "";
  return t("silence", { name: instrument.name, refused });
}

function unfiled(capture, name) {
  const choices = capture.choices ?? [];
  return el(
    "div",
    { class: "unfiled", role: "alert" },
    el(
      "div",
      { class: "unfiled-text" },
      el(
        "p",
        { class: "unfiled-what" },
        warningGlyph(),
        el("strong", {}, t("not_filed")),
        el("span", {}, t("from_instrument", { text: namedValues(capture), name: name(capture.instrument) })),
      ),
      told("p", { class: "unfiled-why" }, capture.reason ?? own(t("no_reason"))),
      el(
        "p",
        { class: "unfiled-do" },
        choices.length
          ? t("unfiled.choose")
          : t("unfiled.put_right"),
      ),
    ),
    el(
      "div",
      { class: "buttons" },
      choices.map((choice, index) =>
        el(
          "button",
          {
            type: "button",
            class: "strong",
            "data-focus": `file-${capture.event}-${index}`,
            onclick: commandListener(() => ({
              command: "file",
              event: capture.event,
              club: choice.club,
              characteristic: choice.characteristic,
            })),
          },
          t("of_club", { what: plain(choice.characteristic), club: choice.club }),
        ),
      ),
      el("button", { type: "button", "data-focus": `void-${capture.event}`, onclick: () => askVoid(capture) }, t("void_it")),
    ),
  );
}

function guidance(club, now, calling, nextInTurn) {
  const lines = [
    now?.text ? line(t("now"), [now], "line-now") : null,
    club && !calling && club.next ? line(t("then"), [club.next], "line-then") : null,
    !club && nextInTurn ? line(t("then"), [nextInTurn], "line-then") : null,
    !calling && forecast(club) ? line(t("forecast"), forecast(club)) : null,
    club?.advice?.length ? line(t("advice"), club.advice) : null,
    bends(club),
  ].filter(Boolean);
  return lines.length ? el("div", { class: "guidance" }, lines) : null;
}

/** What is good to know and nothing to do at this moment. */
function asides(club) {
  const unknown = notForecast(club);
  const besides = club?.bending?.side_effects ? [club.bending.side_effects] : [];
  if (unknown.length + besides.length === 0) return null;
  return el(
    "div",
    { class: "guidance asides" },
    unknown.length > 0 ? line(t("forecast.not"), unknown) : null,
    besides.length > 0 ? line(t("besides"), besides) : null,
  );
}

/** What was bent is said here, as it was read at the lever: only then is it learnt what springs back. */
function bends(club) {
  const advised = (club?.bending?.advice ?? []).filter((advice) => advice.quantity);
  return advised.length ? el("div", { class: "bends" }, advised.map((advice) => bent(club.club, advice))) : null;
}

function bent(club, { characteristic, quantity }) {
  const id = `bent-${characteristic}`;
  const field = el("input", { id, type: "text", value: quantity, "data-focus": id, autocomplete: "off" });
  return el(
    "p",
    {},
    el("label", { for: id }, plain(characteristic)),
    field,
    el(
      "button",
      {
        type: "button",
        "data-focus": `${id}-done`,
        "aria-label": t("bent_as_written", { what: plain(characteristic) }),
        onclick: commandListener(() => ({ command: "bend", club, characteristic, quantity: field.value })),
      },
      t("bent"),
    ),
  );
}

/** What no weighing tells: each is known by itself. */
const APART = ["loft", "lie", "face_angle", "frequency"];

const here = (text) => inUnits(text, units());
// A spread has the unit of the numbers; a swing weight's is in points, as beside its target.
function spreadOf({ characteristic, unit, u }) {
  const word = characteristic === "swing_weight" ? "" : unitWord(unit);
  return `± ${(2 * u).toFixed(1)}${word === "" || word === "°" ? word : ` ${word}`}`;
}
const landsAt = (value) => `${plain(value.characteristic)} ${value.text} ${spreadOf(value)}`;

/** Where the club will land, unless the advice says it; where clubs of the same parts taught it, the text says how. */
function forecast(club) {
  const of = (name) => club?.forecast?.find((value) => value.characteristic === name);
  const swing = of("swing_weight");
  const isSaid = club?.advice?.some((advice) => advice.startsWith("forecast"));
  const landing = [];
  if (swing && (!isSaid || swing.learnt)) {
    landing.push(...[swing, of("total_mass")].filter(Boolean).map((value) => own(here(`${value.text} ${spreadOf(value)}`))));
    const also = ["balance_point", "length", "moi_butt"].map(of).filter(Boolean).map(landsAt);
    if (club.forecast_12_in) also.push(t("forecast.twelve", { moment: club.forecast_12_in.text }));
    if (also.length > 0) landing.push(own(here(also.join(" · "))));
    if (swing.learnt) landing.push(swing.learnt.text);
  }
  const apart = APART.map(of).filter(Boolean);
  const marked = (value) => `${landsAt(value)}${value.basis === "stated" ? ` (${plain("stated")})` : ""}`;
  if (apart.length > 0) landing.push(own(here(apart.map(marked).join(" · "))));
  landing.push(...apart.filter((value) => value.learnt).map((value) => value.learnt.text));
  return landing.length > 0 ? landing : null;
}

/** What the order asks for and nobody can tell yet, each reason once, with what to do. */
function notForecast(club) {
  if (!club || club.stage === "gripped" || club.stage === "final") return [];
  const isAsked = (name) => club.characteristics.some((row) => row.characteristic === name && row.target_text !== null);
  const open = (club.not_forecast ?? []).filter((value) => APART.includes(value.characteristic) && isAsked(value.characteristic));
  return [...new Set(open.map((value) => value.reason))].map((reason) => {
    const names = open.filter((value) => value.reason === reason).map((value) => plain(value.characteristic));
    const { text, lang } = say(reason);
    return { text: `${names.join(", ")}: ${text}`, lang };
  });
}

/** Draws the step that the club waits for: its cautions, and the button that marks it done. */
export function drawStep(view) {
  const place = byId("step");
  const club = view.state?.club ?? null;
  const step = club?.next_step ?? null;
  const texts = club?.cautions ?? [];
  const timers = view.state?.timers ?? [];
  place.hidden = step === null && texts.length === 0 && timers.length === 0;
  // A club of which something is open is handed over only if somebody answers for it.
  const isOpen = step === "hand_over" && (club.open ?? []).length > 0;
  const isRead = place.querySelector(".cautions details")?.open === true;
  const changed = rebuild(place, [club?.club, step, texts, timers, club?.cut, isOpen && club.open], () => [
    step
      ? el(
          "div",
          { class: "step-head" },
          el("p", {}, el("span", {}, `${t("step")} `), el("b", {}, plain(step))),
          el(
            "button",
            {
              type: "button",
              class: "strong",
              "data-focus": "step-done",
              "aria-label": t("mark_done_named", { step: plain(step) }),
              // The second press of a double click meets the button of the step behind.
              onclick: isOpen ? () => askHandOver(club) : once(commandListener(() => ({ command: "step_done", step }))),
            },
            t("mark_done"),
          ),
        )
      : null,
    // Before what is to be done: cautions never go out of sight.
    texts.length ? cautions(texts, club.cautions_short ?? texts, isRead) : null,
    step ? cuts(club) : null,
    timers.length
      ? el(
          "ul",
          { class: "timers", "aria-label": t("adhesive") },
          timers.map((timer) => told("li", { class: timer.over ? "over" : "" }, timer.text)),
        )
      : null,
  ]);
  if (changed) watchRoom(place);
}

function once(listener) {
  return (event) => (event.detail > 1 ? undefined : listener(event));
}

function line(label, sentences, extra = "") {
  const body = sentences.flatMap((sentence, index) => [index === 0 ? null : "; ", told("span", {}, withSigns(sentence))]);
  return el("p", { class: `line ${extra}` }, el("span", { class: "line-label" }, label), el("span", {}, body.filter(Boolean)));
}

function withSigns(sentence) {
  const { text, lang } = say(sentence);
  return { text: signed(text), lang };
}

// In a few words for a glance; a press or the return key shows all of it.
function cautions(texts, short, isOpen) {
  const inShort = short.flatMap((text, index) => [index === 0 ? null : " · ", told("span", {}, text)]);
  return el(
    "div",
    { class: "cautions", role: "note", "aria-label": t("caution") },
    el(
      "details",
      { open: isOpen },
      el(
        "summary",
        { "data-focus": "cautions" },
        warningGlyph(),
        el("span", {}, el("span", { class: "cautions-short" }, inShort.filter(Boolean)), el("span", { class: "cautions-first" }, t("maker_first"))),
      ),
      texts.map((text) => told("p", {}, text)),
    ),
  );
}

function openings(queue) {
  if (queue.length === 0) {
    return el(
      "div",
      { class: "guidance" },
      line(t("now"), [own(t("bring_order"))]),
    );
  }
  return el(
    "ul",
    { class: "openings" },
    queue.slice(0, 6).map((order) =>
      el(
        "li",
        {},
        el(
          "button",
          {
            type: "button",
            class: "strong",
            "data-focus": `open-${order.order}`,
            onclick: commandListener(() => ({ command: "open_order", order: order.order })),
          },
          el("b", {}, order.order),
          el("span", {}, `${order.player ?? ""} · ${counted("clubs", order.clubs)}`),
        ),
      ),
    ),
  );
}
