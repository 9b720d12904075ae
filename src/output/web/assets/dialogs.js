// The dialogs: why void, type a value, which order or club, what was it, the bench token.
//
// In: what is asked about. Out: commands sent, or (token) the answer. Each is a modal <dialog>: Escape leaves it and
// the focus goes back to where it was. Common answers are one press each: the hands may be full of adhesive.

import { el } from "./dom.js";
import { send } from "./command.js";
import { counted, plain, t, told } from "./language.js";
import { namedValues } from "./words.js";

/** Opens a dialog; `build(close)` gives its content. Resolves with what `close` was called with, or null. */
function ask(title, build) {
  return new Promise((resolve) => {
    let answer = null;
    const close = (value) => {
      answer = value;
      dialog.close();
    };
    const dialog = el(
      "dialog",
      { "aria-label": title, class: "dialog" },
      el("div", { class: "dialog-head" }, el("h2", {}, title), el("button", { type: "button", onclick: () => close(null) }, t("leave"))),
      build(close),
    );
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(answer);
    });
    document.body.append(dialog);
    dialog.showModal();
  });
}

const WHYS = ["touched", "wrong_part", "wrong_club", "not_finished", "not_level"].map((why) => t(`why.${why}`));

/** Asks why a reading is to be void, and voids that very reading, whatever has come since. */
export async function askVoid(capture) {
  const why = await ask(t("void_why", { what: capture ? namedValues(capture) : t("the_last_reading") }), (close) =>
    el(
      "form",
      {
        onsubmit: (event) => {
          event.preventDefault();
          const text = event.currentTarget.elements.why.value.trim();
          if (text) close(text);
        },
      },
      el("p", {}, t("void_stays")),
      el(
        "div",
        { class: "buttons stacked" },
        WHYS.map((text) => el("button", { type: "button", onclick: () => close(text) }, text)),
      ),
      el("label", {}, t("another_reason"), el("input", { name: "why", type: "text", required: true, maxlength: 200, autocomplete: "off" })),
      el("button", { type: "submit", class: "strong" }, t("void_for_this")),
    ),
  );
  if (why === null) return;
  await send(capture ? { command: "void", event: capture.event, why } : { command: "void_last", why });
}

const KEYS = ["7", "8", "9", " in", "4", "5", "6", " mm", "1", "2", "3", " g", "0", ".", "/", " deg", "−", "D", "space", "⌫"];

/** Asks for a value measured by hand (a length on the rule, say). */
export async function askValue(club) {
  const lines = new Map((club.characteristics ?? []).map((line) => [line.characteristic, plain(line.characteristic)]));
  if (!lines.has("length")) lines.set("length", plain("length"));
  await ask(t("type_value_for", { name: club.name }), (close) => {
    const quantity = el("input", {
      name: "quantity",
      type: "text",
      required: true,
      autocomplete: "off",
      placeholder: "45 1/4 in",
      maxlength: 40,
      inputmode: "text",
    });
    const problem = el("p", { class: "dialog-problem", role: "alert" });
    const press = (key) => {
      quantity.value = key === "⌫" ? quantity.value.slice(0, -1) : quantity.value + (key === "space" ? " " : key === "−" ? "-" : key);
      problem.textContent = "";
    };
    return el(
      "form",
      {
        onsubmit: async (event) => {
          event.preventDefault();
          const text = quantity.value.trim();
          if (!/\D/.test(text)) {
            problem.textContent = t("needs_unit");
            quantity.focus();
            return;
          }
          const characteristic = event.currentTarget.elements.characteristic.value;
          close(await send({ command: "enter", club: club.club, characteristic, quantity: text }));
        },
      },
      el("p", {}, t("filed_as_typed")),
      el(
        "div",
        { class: "pair" },
        el(
          "label",
          {},
          t("what"),
          el(
            "select",
            { name: "characteristic" },
            [...lines].map(([code, label]) => el("option", { value: code, selected: code === "length" }, label)),
          ),
        ),
        el("label", {}, t("how_much"), quantity),
      ),
      problem,
      el(
        "div",
        { class: "keys" },
        KEYS.map((key) =>
          el(
            "button",
            {
              type: "button",
              "aria-label": key === "⌫" ? t("key.delete") : key === "/" ? t("key.slash") : key === "." ? t("key.point") : null,
              onclick: () => press(key),
            },
            key === "space" ? t("key.space") : key.trim(),
          ),
        ),
      ),
      el("button", { type: "submit", class: "strong" }, t("file_it")),
    );
  });
}

/** Asks for the second measurement of a cut mark. */
export async function askMark(club, mark) {
  await ask(t(`mark.of.${mark.mark}`, { name: club.name }), (close) => {
    const quantity = el("input", { name: "quantity", type: "text", required: true, autocomplete: "off", placeholder: "961.2 mm", maxlength: 40 });
    return el(
      "form",
      {
        onsubmit: async (event) => {
          event.preventDefault();
          const text = quantity.value.trim();
          if (text) close(await send({ command: "confirm_mark", club: club.club, mark: mark.mark, quantity: text }));
        },
      },
      told("p", {}, `Measure ${mark.again_text.split(":")[0]}, without looking at the first number.`),
      el("label", {}, t("how_much"), quantity),
      el("button", { type: "submit", class: "strong" }, t("file_it")),
    );
  });
}

/** Asks who answers for a cut without agreement, and why. */
export async function askOverride(club, mark) {
  await ask(t(`override.${mark.mark}`, { name: club.name }), (close) =>
    el(
      "form",
      {
        onsubmit: async (event) => {
          event.preventDefault();
          const { name, why } = event.currentTarget.elements;
          const command = { command: "override_mark", club: club.club, mark: mark.mark, name: name.value.trim(), why: why.value.trim() };
          if (command.name && command.why) close(await send(command));
        },
      },
      told("p", {}, `${mark.standing_text}. A cut cannot be taken back.`),
      el("label", {}, t("who_answers"), el("input", { name: "name", type: "text", required: true, maxlength: 200, autocomplete: "off" })),
      el("label", {}, t("why"), el("input", { name: "why", type: "text", required: true, maxlength: 200, autocomplete: "off" })),
      el("button", { type: "submit", class: "strong" }, t("cut_all_the_same")),
    ),
  );
}

/** Asks who answers for a club that is handed over with something open, and why. */
export async function askHandOver(club) {
  await ask(t("hand_over.title", { name: club.name }), (close) =>
    el(
      "form",
      {
        onsubmit: async (event) => {
          event.preventDefault();
          const { name, why } = event.currentTarget.elements;
          const command = { command: "override_hand_over", club: club.club, name: name.value.trim(), why: why.value.trim() };
          if (command.name && command.why) close(await send(command));
        },
      },
      el("ul", { class: "open-items" }, club.open.map((open) => told("li", {}, open))),
      el("p", {}, t("hand_over.first")),
      el("label", {}, t("who_answers"), el("input", { name: "name", type: "text", required: true, maxlength: 200, autocomplete: "off" })),
      el("label", {}, t("why"), el("input", { name: "why", type: "text", required: true, maxlength: 200, autocomplete: "off" })),
      el("button", { type: "submit", class: "strong" }, t("hand_over.do")),
    ),
  );
}

/** Asks what a reading without a place was. */
export async function askChoice(capture) {
  const choice = await ask(t("what_was_it", { text: namedValues(capture) }), (close) =>
    el(
      "div",
      {},
      told("p", {}, capture.reason),
      el(
        "div",
        { class: "buttons stacked" },
        (capture.choices ?? []).map((candidate) =>
          el(
            "button",
            { type: "button", class: "strong", onclick: () => close(candidate) },
            t("of_club", { what: plain(candidate.characteristic), club: candidate.club }),
          ),
        ),
      ),
    ),
  );
  if (choice) await send({ command: "file", event: capture.event, club: choice.club, characteristic: choice.characteristic });
}

/** Shows the clubs of the open order and the queue; opens what is pressed. */
export async function askOrder(state) {
  const command = await ask(t("orders_and_clubs"), (close) =>
    el(
      "div",
      { class: "orders" },
      state.order
        ? el(
            "section",
            {},
            el("h3", {}, t(state.order.player ? "order_named_for" : "order_named", { order: state.order.order, player: state.order.player })),
            el(
              "div",
              { class: "buttons stacked" },
              state.order.clubs.flatMap((club) => [
                el(
                  "button",
                  {
                    type: "button",
                    "aria-current": club.club === state.club?.club ? "true" : null,
                    onclick: () => close({ command: "open_club", club: club.club }),
                  },
                  el("b", {}, club.name),
                  el("span", {}, `${club.club} · ${plain(club.state)} · ${t("done_of", { done: club.done, of: club.of })}`),
                ),
                club.state === "finished"
                  ? el(
                      "button",
                      { type: "button", onclick: () => close({ command: "build_again", club: club.club }) },
                      el("b", {}, t("build_again", { name: club.name })),
                      el("span", {}, t("build_again.how")),
                    )
                  : null,
              ]),
            ),
            state.club
              ? el("div", { class: "buttons stacked" }, el("button", { type: "button", onclick: () => showSteps(state.club) }, el("b", {}, t("steps_of", { name: state.club.name })), el("span", {}, t("steps_of.how"))))
              : null,
          )
        : null,
      el(
        "section",
        {},
        el("h3", {}, t("orders_waiting")),
        state.queue?.length
          ? el(
              "div",
              { class: "buttons stacked" },
              state.queue.map((order) =>
                el(
                  "button",
                  {
                    type: "button",
                    onclick: () => close({ command: "open_order", order: order.order }),
                  },
                  el("b", {}, order.order),
                  el("span", {}, `${order.player ?? ""} · ${counted("clubs", order.clubs)}`),
                ),
              ),
            )
          : el("p", {}, t("no_other_order")),
      ),
    ),
  );
  if (command) await send(command);
}

/** What a badge's code begins with: a scanner that types does so into the field that is open. */
const BADGE = "BS1/";

/** Asks who is at the bench; that nobody is any more is an answer as well. */
export async function askWho(operator) {
  const command = await ask(t("who.title"), (close) =>
    el(
      "form",
      {
        onsubmit: (event) => {
          event.preventDefault();
          const name = event.currentTarget.elements.name.value.trim();
          if (name) close(name.startsWith(BADGE) ? { command: "scan", code: name } : { command: "operator", operator: name });
        },
      },
      el("p", {}, t("who.how")),
      el("label", {}, t("who.name"), el("input", { name: "name", type: "text", required: true, maxlength: 60, autocomplete: "off" })),
      el("button", { type: "submit", class: "strong" }, t("who.note")),
      operator ? el("button", { type: "button", onclick: () => close({ command: "operator", operator: null }) }, t("who.left", { name: operator })) : null,
    ),
  );
  if (command) await send(command);
}

/** The steps of a club stand in its record, with what there is to do about each. */
function showSteps(club) {
  location.href = `records/${encodeURIComponent(club.club)}#steps-title`;
}

/** Asks for the bench token; null if the person leaves. */
export function askToken() {
  return ask(t("token.title"), (close) =>
    el(
      "form",
      {
        onsubmit: (event) => {
          event.preventDefault();
          const token = event.currentTarget.elements.token.value.trim();
          if (token) close(token);
        },
      },
      el(
        "p",
        {},
        t("token.where"),
      ),
      el("label", {}, t("token.label"), el("input", { name: "token", type: "password", required: true, autocomplete: "off" })),
      el("button", { type: "submit", class: "strong" }, t("token.use")),
    ),
  );
}
