// Values on pages that the daemon made, in the units somebody likes. What was measured stands with its numbers in the row.
//
// In: rows with `data-reading` (characteristic, unit and numbers as JSON) and cells with `data-show`; cells with one size (`data-size`); texts with masses below
// `data-units`. Out: their text. Only the display changes.

import { t } from "./language.js";
import { units } from "./preferences.js";
import { deviationText, expandedText, inUnits, limitsText, sizeText, valueText } from "./quantities.js";

const WORDS = {
  at_most: (limit) => t("at_most", { limit }),
  at_least: (limit) => t("at_least", { limit }),
  range: (from, to) => t("range", { from, to }),
};

const SHOWN = {
  value: (reading, chosen) => valueText(reading, chosen),
  deviation: (reading, chosen) => deviationText(reading, chosen),
  limits: (reading, chosen) => limitsText(reading, chosen, WORDS),
  expanded: (reading, chosen) => expandedText(reading, chosen),
};

/** Shows everything below `root` in the units of this display. */
export function showUnits(root) {
  const chosen = units();
  if (chosen.lengths === null && chosen.masses === null) return;
  for (const row of root.querySelectorAll("[data-reading]")) {
    const reading = JSON.parse(row.dataset.reading);
    for (const cell of row.querySelectorAll("[data-show]")) {
      const text = SHOWN[cell.dataset.show](reading, chosen);
      if (text) cell.textContent = text;
    }
  }
  for (const cell of root.querySelectorAll("[data-size]")) cell.textContent = sizeText(JSON.parse(cell.dataset.size), chosen) ?? cell.textContent;
  for (const place of root.querySelectorAll("[data-units]")) {
    const walker = document.createTreeWalker(place, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) walker.currentNode.data = inUnits(walker.currentNode.data, chosen);
  }
}
