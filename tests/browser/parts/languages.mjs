// The display in another language and in other units: whole sentences or none, and values that stay what they are.
//
// Expected: an inch is 25.4 mm and an ounce 28.349 523 125 g, both exactly (NIST Handbook 44, Appendix C); the sums stand beside the checks.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import { readFile } from "node:fs/promises";
import * as s from "../scenes.mjs";
import { atMockBench, SCENES, UNDER, onScale } from "../mock_bench.mjs";
import { untilText, violations } from "../support.mjs";
import { translator } from "../../../src/output/web/assets/sentences.js";
import * as quantities from "../../../src/output/web/assets/quantities.js";

const german = JSON.parse(await readFile(new URL("../../../src/output/web/messages/de.json", import.meta.url), "utf8"));
const english = JSON.parse(await readFile(new URL("../../../src/output/web/messages/en.json", import.meta.url), "utf8"));
const words = new Map(Object.entries(english.words).filter(([key]) => key.startsWith("code.")).map(([key, word]) => [word, german.words[key]]));
const translate = translator(german.sentences, (word) => words.get(word) ?? german.sentences[word] ?? null);

describe("languages and units", () => {
  const { on, show } = atMockBench();

  test("a_sentence_is_whole_in_german_or_whole_in_english", () => {
    const cases = [
      // Every sentence as the daemon writes it; the German was written by hand.
      ["55.0 g could be shaft mass or grip mass: choose which", "55.0 g kann Schaftmasse oder Griffmasse sein: auswählen"],
      [
        "150.0 g fits nothing that W-1042/1 needs (head mass 195 to 211 g, shaft mass 60 to 68 g): check the part, or choose what it is",
        "150.0 g passt zu nichts, was W-1042/1 braucht (Kopfmasse 195 bis 211 g, Schaftmasse 60 bis 68 g): Teil prüfen oder sagen, was es ist",
      ],
      ["forecast for the finished club D1.2 ± 1.4 points: put 2 g + 0.5 g at the head and 3 × 1 g under the grip: D3.0, total +5.5 g", "Vorhersage für den fertigen Schläger D1.2 ± 1.4 Punkte: 2 g + 0.5 g am Kopf und 3 × 1 g unter dem Griff anbringen: D3.0, gesamt +5.5 g"],
      ["forecast for the finished club D4.6 ± 1.4 points: 3.0 g too much at the head", "Vorhersage für den fertigen Schläger D4.6 ± 1.4 Punkte: am Kopf 3.0 g zu viel"],
      ["take the grip soft of 48.0 g: D3.4, total −2.0 g", "Griff soft mit 48.0 g nehmen: D3.4, gesamt −2.0 g"],
      ["cut 6.4 mm off the butt: D2.1, total −0.5 g, length −6.4 mm", "am Griffende 6.4 mm abschneiden: D2.1, gesamt −0.5 g, Länge −6.4 mm"],
      ["measure the club as it came (length, swing weight); then put the grip on and mark the step done", "Schläger messen, wie er kam (Länge, Schwunggewicht); dann: Griff aufziehen, und den Schritt abhaken"],
      ["−1.0 points", "−1.0 Punkte"],
      ["D3.0 ± 0.5 points", "D3.0 ± 0.5 Punkte"],
      ["45 1/4 in ± 1/16 in", "45 1/4 in ± 1/16 in"],
      // Nothing that is not known whole.
      ["put 2 g beside the vice: D3.0, total +2.0 g", null],
      ["55.0 g could be shaft mass or a spanner: choose which", null],
      ["lay the head on a scale, please", null],
    ];
    for (const [said, expected] of cases) assert.equal(translate(said), expected, said);
  });

  test("values_are_shown_in_the_units_somebody_likes_and_stay_what_they_are", () => {
    const length = { characteristic: "length", unit: "mm", value: 1149.35, text: "45 1/4 in", deviation: -1.5875, deviation_text: "−1/16 in", target: 1150.9375, lower: 1149.35, upper: 1152.525, target_text: "45 5/16 in ± 1/16 in" };
    const mass = { characteristic: "head_mass", unit: "g", value: 203.1, text: "203.1 g", deviation: 0.1, deviation_text: "+0.1 g", target: 203, lower: 201, upper: 205, target_text: "203.0 g ± 2.0 g" };
    const none = { lengths: null, masses: null };
    assert.deepEqual([quantities.valueText(length, none), quantities.deviationText(mass, none)], ["45 1/4 in", "+0.1 g"]);
    // 1149.35 / 25.4 = 45.25; 1143 / 25.4 = 45; 0.4 mm is less than half a sixteenth (0.79 mm).
    assert.deepEqual([1149.35, 1143, 1144.6, 0.4, 1.5875, 12.7].map(quantities.inches), ["45 1/4 in", "45 in", "45 1/16 in", "0 in", "1/16 in", "1/2 in"]);
    assert.equal(quantities.valueText(length, { ...none, lengths: "mm" }), "1149.4 mm");
    assert.equal(quantities.targetText(length, { ...none, lengths: "mm" }, {}), "1150.9 mm ± 1.6 mm");
    assert.equal(quantities.deviationText(length, { ...none, lengths: "in" }), "−1/16 in");
    // 203.1 / 28.349523125 = 7.1642; 0.1 g = 0.00353 oz; 2 g = 0.07055 oz; 203 g = 7.16061 oz.
    const ounces = { ...none, masses: "oz" };
    assert.equal(quantities.valueText(mass, ounces), "7.164 oz");
    assert.equal(quantities.deviationText(mass, ounces), "+0.004 oz");
    assert.equal(quantities.targetText(mass, ounces, {}), "7.161 oz ± 0.071 oz");
    // Whose limits they are stays said, whatever the units.
    const usual = { ...mass, target_text: "203.0 g ± 2.0 g, by default" };
    assert.equal(quantities.targetText(usual, ounces, { by_default: (target) => `${target}, by default` }), "7.161 oz ± 0.071 oz, by default");
    assert.equal(quantities.inUnits("head mass 195 to 211 g, add 28.35 g", ounces), "head mass 6.878 to 7.443 oz, add 1.000 oz");
    assert.equal(quantities.inUnits("2790 kg·cm² and 12 g·cm", ounces), "2790 kg·cm² and 12 g·cm");
    assert.equal(quantities.inUnits("45 1/4 in ± 1/16 in", { ...none, lengths: "mm" }), "1149 mm ± 2 mm");
  });

  test("the_bench_speaks_german_and_marks_what_stays_english", () =>
    on(
      SCENES.held,
      async (page) => {
        assert.equal(await page.evaluate(() => document.documentElement.lang), "de");
        await untilText(page, "#live-title", "Kopfmasse");
        await untilText(page, ".places [data-on]", "innerhalb");
        await untilText(page, ".act", "Schaft auf eine Waage legen");
        await untilText(page, ".act", "am Kopf 1.6 g zugeben");
        await untilText(page, "#sheet", "Schwunggewicht");
        await show(page, SCENES.unfiled);
        // The mock's reason is none of the daemon's: it stays whole, and is said to be English.
        assert.equal(await page.locator(".unfiled-why").getAttribute("lang"), "en");
        await show(page, s.scene({ captures: [s.unfiled({ reason: "55.0 g could be shaft mass or grip mass: choose which" }), ...s.captures()] }));
        await untilText(page, ".unfiled-why", "kann Schaftmasse oder Griffmasse sein");
        assert.equal(await page.locator(".unfiled-why").getAttribute("lang"), null);
        assert.equal(await page.getByRole("button", { name: "Griffmasse von W-1042/1" }).count(), 1);
      },
      { language: "de" },
    ));

  test("no_english_is_left_on_the_german_page_but_what_is_marked", () =>
    on(
      SCENES.held,
      async (page) => {
        for (const name of Object.keys(SCENES)) {
          await show(page, SCENES[name]);
          // Words that only English has, outside of what is marked; names of the bench are whatever they are called.
          const left = await page.evaluate(() => {
            const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
            const found = [];
            while (walker.nextNode()) {
              const node = walker.currentNode.parentElement;
              if (node.closest("[lang=en], script, noscript, .tile-name, .capture-place small, #live-title, #live-where") || !node.checkVisibility()) continue;
              if (/\b(the|and|with|from|is|not|no|of|what|step|target|mass|lay|weight|club|settled|void)\b/i.test(walker.currentNode.data)) found.push(walker.currentNode.data);
            }
            return found;
          });
          assert.deepEqual(left, [], name);
        }
      },
      { language: "de" },
    ));

  test("german_holds_its_place_at_every_size_and_has_no_violation", async () => {
    for (const [width, height] of [
      [1920, 1080],
      [1280, 800],
      [390, 844],
    ]) {
      await on(
        SCENES.held,
        async (page) => {
          for (const [name, state] of Object.entries(SCENES)) {
            await show(page, state);
            const wide = await page.evaluate(() => document.documentElement.scrollWidth);
            assert.ok(wide <= width, `${name} at ${width}: ${wide} wide`);
          }
          assert.deepEqual(await violations(page), [], `at ${width}`);
        },
        { language: "de", width, height },
      );
    }
  });

  test("ounces_and_millimetres_are_shown_where_they_were_chosen_and_commands_stay_as_typed", () =>
    on(
      onScale({}, UNDER),
      async (page) => {
        // 200.3 - 203 = -2.7 g = -0.09524 oz.
        await untilText(page, "#number", "−0.095");
        await untilText(page, "#unit", "oz");
        await untilText(page, "#facts", "7.065 oz");
        await untilText(page, ".act", "add 0.056 oz at the head");
        assert.deepEqual(await violations(page), []);
        // Nobody finds a weight of 7.055 oz: what is stamped with grams is asked for in grams, and judged in them.
        const refusal = "scale read 205.123 g as found of 200 g: was that the weight that was named? If not, cancel and begin anew";
        await show(page, s.scene({ instruments: [s.scale({ awaiting: "200 g, class M1" }), s.beam({ awaiting: "200 g at 450 mm" })], banners: [{ level: "warning", text: refusal, remedy: "" }] }));
        await untilText(page, '[data-id="parts-scale"] .tile-next', "lay on: 200 g, class M1");
        await untilText(page, '[data-id="beam"] .tile-next', "lay on: 200 g at 450 mm");
        await untilText(page, ".banner", "read 205.123 g as found of 200 g");
      },
      { kept: { "bench-masses": "oz", "bench-lengths": "mm" } },
    ));
});
