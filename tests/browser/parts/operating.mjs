// What a person does at the page: void, type, open, file, mark; and the daemon's refusals.
//
// Expected: the commands of the project's HTTP contract, problems in the shape of RFC 9457.

import { describe, test } from "node:test";
import assert from "node:assert/strict";
import * as s from "../scenes.mjs";
import { atMockBench, SCENES } from "../mock_bench.mjs";
import { untilText } from "../support.mjs";

describe("what a person does", () => {
  const bench = atMockBench();
  const { on, show, sent } = bench;

  // Without a scanner nobody could say who was at the bench, and nothing said that nobody was.
  test("who_is_at_the_bench_is_said_and_can_be_told_without_a_scanner", () =>
    on(SCENES.held, async (page) => {
      const who = page.locator("#who-button");
      assert.equal(await who.textContent(), "nobody is at the bench: scan a badge");
      assert.equal(await page.locator('[role="alert"]').filter({ hasText: "nobody" }).count(), 0, "it is no alarm");
      await who.click();
      await page.getByLabel("name", { exact: true }).fill("K7");
      await page.keyboard.press("Enter");
      assert.deepEqual(await sent(), [{ command: "operator", operator: "K7" }]);
      await show(page, { ...SCENES.held, operator: "K7" });
      await untilText(page, "#who-button", "at the bench: K7");
      // A scanner that types its code as a keyboard does types it here.
      await who.click();
      await page.getByLabel("name", { exact: true }).fill("BS1/W/M2");
      await page.getByRole("button", { name: "note it" }).click();
      assert.deepEqual((await sent(2))[1], { command: "scan", code: "BS1/W/M2" });
      await who.click();
      await page.getByRole("button", { name: "K7 has left" }).click();
      assert.deepEqual((await sent(3))[2], { command: "operator", operator: null });
    }));

  test("the_focus_survives_a_new_state", () =>
    on(SCENES.held, async (page) => {
      await page.locator('[data-focus="drop-e2"]').focus();
      await show(page, s.scene({ captures: [s.capture("e7", "59:59", "64.00 g", "shaft_mass"), ...s.captures()] }));
      await untilText(page, "#captures", "64.00 g");
      assert.equal(await page.evaluate(() => document.activeElement.dataset.focus), "drop-e2");
    }));

  test("voiding_asks_for_the_reason_and_names_the_very_reading", () =>
    on(SCENES.held, async (page) => {
      await page.locator("#void-button").focus();
      await page.keyboard.press("Enter");
      await page.locator("dialog[open]").waitFor();
      await page.keyboard.press("Escape");
      await page.locator("dialog").waitFor({ state: "detached" });
      assert.equal(await page.evaluate(() => document.activeElement.id), "void-button");
      assert.deepEqual(bench.mock.commands, [], "leaving voids nothing");
      await page.locator("#void-button").click();
      // A reading that comes while the dialog is open must not be the one that is voided.
      await show(page, s.scene({ captures: [s.capture("e8", "59:30", "64.00 g", "shaft_mass"), ...s.captures()] }));
      await page.getByLabel("another reason").fill("dropped it");
      await page.keyboard.press("Enter");
      assert.deepEqual(await sent(), [{ command: "void", event: "e1", why: "dropped it" }]);
      await page.locator('[data-focus="drop-e4"]').click();
      await page.getByRole("button", { name: "wrong part" }).click();
      assert.deepEqual((await sent(2))[1], { command: "void", event: "e4", why: "wrong part" });
    }));

  test("a_typed_value_needs_its_unit", () =>
    on(SCENES.empty, async (page) => {
      await page.locator("#enter-button").click();
      for (const key of ["4", "5"]) await page.locator(".keys").getByRole("button", { name: key, exact: true }).click();
      await page.getByRole("button", { name: "file it" }).click();
      await untilText(page, ".dialog-problem", "needs its unit");
      assert.deepEqual(bench.mock.commands, []);
      await page.locator(".keys").getByRole("button", { name: "in", exact: true }).click();
      await page.getByRole("button", { name: "file it" }).click();
      assert.deepEqual(await sent(), [{ command: "enter", club: "W-1042/1", characteristic: "length", quantity: "45 in" }]);
    }));

  test("a_bend_is_said_as_it_was_read_at_the_lever", () =>
    on(SCENES.bending, async (page) => {
      await page.getByRole("button", { name: "bent: lie as written" }).click();
      const bend = { command: "bend", club: "W-1042/1", characteristic: "lie" };
      assert.deepEqual((await sent(1))[0], { ...bend, quantity: "1.5 deg upright" });
      await page.getByLabel("lie", { exact: true }).fill("1.8 deg upright");
      await page.getByRole("button", { name: "bent: lie as written" }).click();
      assert.deepEqual((await sent(2))[1], { ...bend, quantity: "1.8 deg upright" });
    }));

  test("the_rules_open_and_stay_open_when_a_new_state_comes", () =>
    on(SCENES.bending, async (page) => {
      await untilText(page, ".rules summary", "over, at most 48 in");
      await page.locator(".rules summary").click();
      await untilText(page, ".rules", "not a ruling: the governing bodies decide");
      const club = { ...SCENES.bending.club, rule_check: { ...s.ruleCheck(), text: "within: length" } };
      await show(page, s.scene({ club }));
      await untilText(page, ".rules summary", "within: length");
      assert.equal(await page.evaluate(() => document.querySelector(".rules").open), true);
    }));

  test("orders_clubs_and_steps_are_opened_and_marked", () =>
    on(SCENES.empty, async (page) => {
      await page.getByRole("button", { name: "mark done: step dry fit" }).click();
      assert.deepEqual((await sent(1))[0], { command: "step_done", step: "dry_fit" });
      await page.locator("#orders-button").click();
      await page.locator("dialog").getByRole("button", { name: "3 wood" }).click();
      assert.deepEqual((await sent(2))[1], { command: "open_club", club: "W-1042/2" });
      await page.locator("#orders-button").click();
      await page.locator("dialog").getByRole("button", { name: "W-1044" }).click();
      assert.deepEqual((await sent(3))[2], { command: "open_order", order: "W-1044" });
      await show(page, SCENES["no order"]);
      await untilText(page, "#call", "open an order");
      await page.locator(".openings").getByRole("button", { name: "W-1043" }).click();
      assert.deepEqual((await sent(4))[3], { command: "open_order", order: "W-1043" });
    }));

  test("a_cut_mark_is_measured_a_second_time_or_answered_for", () =>
    on(s.scene({ club: s.club({ next_step: "cut", cut: s.cut(), cautions: s.cautions(), cautions_short: s.cautionsShort() }) }), async (page) => {
      await untilText(page, ".cuts", "67.1 mm");
      await untilText(page, ".cuts", "wants a second measurement");
      await page.getByRole("button", { name: "type second measurement" }).click();
      await page.getByLabel("how much, with its unit").fill("961.5 mm");
      await page.keyboard.press("Enter");
      assert.deepEqual(await sent(), [{ command: "confirm_mark", club: "W-1042/1", mark: "butt", quantity: "961.5 mm" }]);
      await page.getByRole("button", { name: "cut all the same" }).click();
      await page.getByLabel("who answers for it").fill("K7");
      await page.getByLabel("why", { exact: true }).fill("the rule is bent");
      await page.keyboard.press("Enter");
      const expected = { command: "override_mark", club: "W-1042/1", mark: "butt", name: "K7", why: "the rule is bent" };
      assert.deepEqual((await sent(2))[1], expected);
      await show(page, s.scene({ club: s.club({ next_step: "cut", cut: s.cut({ is_past: true }) }) }));
      await page.locator(".cuts").waitFor({ state: "detached" });
    }));

  test("a_club_with_something_open_is_handed_over_only_by_who_answers_for_it", () =>
    on(s.scene({ club: s.club({ next_step: "hand_over", open: ["swing weight \u22123.7 points under", "loft never measured"] }) }), async (page) => {
      await page.getByRole("button", { name: "mark done: step hand over" }).click();
      await untilText(page, "dialog", "swing weight \u22123.7 points under");
      await untilText(page, "dialog", "loft never measured");
      await page.getByLabel("who answers for it").fill("K7");
      await page.getByLabel("why", { exact: true }).fill("as agreed");
      await page.keyboard.press("Enter");
      assert.deepEqual(await sent(), [{ command: "override_hand_over", club: "W-1042/1", name: "K7", why: "as agreed" }]);
      await show(page, s.scene({ club: s.club({ next_step: "hand_over", open: [] }) }));
      await page.getByRole("button", { name: "mark done: step hand over" }).click();
      assert.deepEqual((await sent(2))[1], { command: "step_done", step: "hand_over" });
    }));

  test("a_finished_club_is_built_again_and_no_other", () => {
    const clubs = [
      { club: "W-1042/1", name: "driver", state: "finished", done: 9, of: 9 },
      { club: "W-1042/2", name: "3 wood", state: "in_work", done: 0, of: 9 },
    ];
    return on(s.scene({ order: { order: "W-1042", player: "P-17", clubs } }), async (page) => {
      await page.locator("#orders-button").click();
      const again = page.locator("dialog").getByRole("button", { name: "the driver once more" });
      await again.waitFor();
      assert.equal(await page.locator("dialog").getByRole("button", { name: /once more/ }).count(), 1);
      await again.click();
      assert.deepEqual(await sent(), [{ command: "build_again", club: "W-1042/1" }]);
    });
  });

  test("an_unfiled_reading_is_loud_and_its_choices_file_it", () =>
    on(SCENES.unfiled, async (page) => {
      const alarm = page.locator(".unfiled[role=alert]");
      await untilText(page, ".unfiled", "57.3 g fits both the grip and the shaft");
      assert.ok((await alarm.textContent()).includes("not filed"));
      await alarm.getByRole("button", { name: "shaft mass of W-1042/2" }).click();
      assert.deepEqual(await sent(), [{ command: "file", event: "e9", club: "W-1042/2", characteristic: "shaft_mass" }]);
      await show(page, s.scene({ captures: [s.capture("e10", "59:59", "64.00 g", "shaft_mass"), s.unfiled(), ...s.captures()] }));
      await page.waitForFunction(() => !document.querySelector(".unfiled"));
      await page.locator('[data-focus="choose-e9"]').click();
      await page.locator("dialog").getByRole("button", { name: "grip mass of W-1042/1" }).click();
      assert.deepEqual((await sent(2))[1], { command: "file", event: "e9", club: "W-1042/1", characteristic: "grip_mass" });
    }));

  test("a_refusal_is_shown_in_the_daemons_words_until_it_is_dismissed", () =>
    on(
      SCENES.empty,
      async (page) => {
        bench.mock.refuse({ type: "about:blank", title: "step not possible", detail: "the dry fit has no swing weight yet", status: 409 });
        await page.getByRole("button", { name: "mark done" }).click();
        await untilText(page, "#notices", "the dry fit has no swing weight yet");
        await untilText(page, "#notices", "step not possible");
        await page.getByRole("button", { name: "dismiss" }).click();
        assert.equal(await page.locator("#notices > *").count(), 0);
      },
      { expected: /409/ },
    ));

  test("a_401_asks_for_the_bench_token_once", () =>
    on(
      SCENES.empty,
      async (page) => {
        bench.mock.wantToken("invented-token");
        await page.getByRole("button", { name: "mark done" }).click();
        await page.getByLabel("key", { exact: true }).fill("invented-token");
        await page.keyboard.press("Enter");
        assert.deepEqual(await sent(), [{ command: "step_done", step: "dry_fit" }]);
        await page.waitForFunction(() => !document.querySelector("#step button").disabled);
        await page.getByRole("button", { name: "mark done" }).click();
        assert.equal((await sent(2)).length, 2);
        assert.equal(await page.locator("dialog").count(), 0, "not asked again");
      },
      { expected: /401/ },
    ));
});
