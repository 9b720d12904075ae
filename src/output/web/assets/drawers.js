// What to do with what is in the drawers: each proposal with what it does to the club, and the button that takes its parts
// out of the stock; what was taken, and the button that puts it back.
//
// In: the club of the state, and what is low. Out: nodes for the section of what to do; nothing where there are no drawers.

import { el } from "./dom.js";
import { commandListener } from "./command.js";
import { plain, said, t, told } from "./language.js";
import { signed } from "./words.js";

/** How many proposals are shown. */
const SHOWN = 3;

/** What the nodes are made from, to know when they must be made anew. */
export function drawersKey(state) {
  return [state?.club?.proposals, state?.club?.consumption, state?.low_stock];
}

/** The proposals and takings of the open club; between clubs what is low; null where there is nothing of it. */
export function drawers(state) {
  const proposals = (state?.club?.proposals ?? []).slice(0, SHOWN);
  const taken = (state?.club?.consumption ?? []).filter((taking) => taking.returned === null);
  const few = low(state);
  if (proposals.length === 0 && taken.length === 0 && (state?.club || few === null)) return null;
  return el("ul", { class: "drawers", "aria-label": t("from_drawers") }, offers(proposals), taken.slice(-1).map(putBack), few);
}

/** What each does to the club; what stays as it is, or is not known, with all of them is said once. */
function offers(proposals) {
  const inAll = (of) => (proposals[0]?.[of] ?? []).filter((name) => proposals.every((offered) => offered[of].includes(name)));
  const [same, unknown] = [inAll("unchanged"), inAll("unknown")];
  const named = (names) => names.map(plain).join(", ");
  const once = [
    same.length ? t("as_they_are", { what: named(same) }) : null,
    unknown.length ? t("not_known", { what: named(unknown) }) : null,
  ].filter(Boolean);
  const said = once.length > 0 ? el("li", {}, el("p", {}, el("span", {}, once.join("; ")))) : null;
  return [...proposals.map((offered) => proposal(offered, unknown)), said];
}

function proposal(offered, saidOnce) {
  const effects = offered.effects.filter((effect) => effect.change_text !== null && effect.change !== 0);
  const changes = effects.map((effect) => `${plain(effect.characteristic)} ${signed(said(effect.change_text))}`);
  const unknown = offered.unknown.filter((name) => !saidOnce.includes(name)).map(plain).join(", ");
  const words = [...changes, unknown ? t("not_known", { what: unknown }) : null].filter(Boolean).join(", ");
  return el(
    "li",
    {},
    el("p", {}, told("b", {}, signed(offered.text)), el("span", {}, words), offered.cautions.map((text) => told("em", {}, text))),
    offered.parts.length
      ? el(
          "button",
          {
            type: "button",
            "data-focus": `use-${offered.proposal}`,
            "aria-label": `${t("use_this")}: ${said(offered.text)}`,
            onclick: commandListener(() => ({ command: "use_proposal", proposal: offered.proposal })),
          },
          t("use_this"),
        )
      : null,
  );
}

function putBack(taking) {
  const parts = taking.parts.map((part) => (part.pieces === 1 ? part.item : `${part.pieces} × ${part.item}`)).join(" + ");
  return el(
    "li",
    {},
    el("p", {}, el("b", {}, t("taken", { parts }))),
    el(
      "button",
      {
        type: "button",
        "data-focus": `back-${taking.event}`,
        "aria-label": t("put_back_named", { parts }),
        onclick: commandListener(() => ({ command: "put_back", taking: taking.event, why: "put back at the display" })),
      },
      t("put_back"),
    ),
  );
}

function low(state) {
  const few = state?.low_stock ?? [];
  if (few.length === 0) return null;
  return el("li", { class: "low-stock" }, el("p", {}, t("low_stock", { parts: few.map((line) => t("left_named", { item: line.item, n: line.left })).join(", ") })));
}
