//! Checks with weights and blocks on the bench's own core: verdicts, charts, what they do to budgets, records and the audit.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

mod desk_bench;

use benchscribe::audit::audit;
use benchscribe::journal::store::Journal;
use benchscribe::measurement::reading::Quantity;
use benchscribe::measurement::uncertainty::Source;
use benchscribe::output::record::record;
use benchscribe::output::text::Lengths;
use benchscribe::output::trust_detail::trust_detail;
use benchscribe::work_order::checks::{BalanceError, CheckZone};
use benchscribe::work_order::event::Change;
use benchscribe::work_order::judging::{DecisionRule, Verdict};
use desk_bench::{CONFIG, DeskBench, ORDER, Stored, last_check};
use serde_json::{Value, json};

/// What the audit finds wrong with events that a chain was made over as they are.
async fn faults(stored: &Stored) -> Vec<String> {
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(folder.path(), "bench-1", 7).await.unwrap();
    journal.append(&stored.events, &stored.evidence).await.unwrap();
    let found = audit(&journal.reader()).await;
    journal.close().await;
    found.faults.iter().map(|fault| fault.what.clone()).collect()
}

async fn assert_proved(stored: &Stored) {
    let found = faults(stored).await;
    assert!(found.is_empty(), "{found:?}");
}

fn check(instrument: &str) -> Value {
    json!({"command": "check_begin", "instrument": instrument, "mass": "200 g", "class": "M1", "error": "0 g", "expanded_u": "2 mg"})
}

#[tokio::test]
async fn the_audit_takes_no_input_of_a_budget_or_verdict_on_trust() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    bench.command(check("scale"), &mut stored).unwrap();
    bench.weigh("scale", [200.01, 0.0], [0.0, 0.0], &mut stored);
    bench.weigh("scale", [203.2, 0.0], [0.0, 0.0], &mut stored);
    assert_proved(&stored).await;
    // Each forgery agrees with itself, so that only what was before it gives it away.
    type Forgery = fn(&mut Change);
    let forgeries: [(Forgery, &str); 3] = [
        (
            |change| {
                if let Change::Checked(check) = change {
                    *change = Change::ReferenceWithdrawn { instrument: check.instrument.clone() };
                }
            },
            "another drift",
        ),
        (
            |change| {
                if let Change::ReadingFiled { values, .. } = change {
                    values[0].upper = Some(300.0);
                }
            },
            "the order asked for another head_mass",
        ),
        (
            |change| {
                if let Change::ReadingFiled { values, .. } = change {
                    values[0].rule = DecisionRule::Guarded { guard: 0.0 };
                }
            },
            "another rule",
        ),
    ];
    for (forge, words) in forgeries {
        let mut forged = Stored { events: stored.events.clone(), evidence: stored.evidence.clone() };
        forged.events.iter_mut().for_each(|event| forge(&mut event.change));
        let found = faults(&forged).await;
        assert!(found.iter().any(|what| what.contains(words)), "{words}: {found:?}");
    }
}

#[test]
fn a_value_is_judged_with_the_expanded_uncertainty_that_the_record_prints() {
    // One check on an otherwise sure scale: the drift of 0.04 g in 200 g, 0.041 g here, has one degree of freedom, all else
    // (0.026 g) as good as none: (0.0488 / 0.0410)⁴ = 2.01, truncated 2, and t(95.45 %, 2) = 4.53 (JCGM 100, table G.2).
    let config = format!(
        "{}\n[judging]\nrule = \"guarded\"\n",
        CONFIG.replace("u_span = 0.0001\nu_linearity = \"0.01 g\"", "u_span = 0.0")
    );
    let mut bench = DeskBench::new(&config);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    bench.command(check("scale"), &mut stored).unwrap();
    bench.weigh("scale", [200.04, 0.0], [0.0, 0.0], &mut stored);
    bench.weigh("scale", [204.8, 0.0], [0.0, 0.0], &mut stored);
    let Change::ReadingFiled { values, .. } = &stored.of("reading_filed").last().unwrap().change else { panic!() };
    let (value, expanded) = (&values[0], values[0].expanded_u.unwrap());
    // The upper limit is 205 g: 0.2 g of room, more than 2 u and less than U.
    assert!(2.0 * value.u < 0.2 && expanded > 0.2, "{value:?}");
    assert!((expanded / value.u - 4.53).abs() < 0.005, "{value:?}");
    assert!(value.verdict == Verdict::Over && value.marginal, "{value:?}");
    let club = bench.core.state.club().unwrap();
    let record = serde_json::to_value(record(club, String::new(), Lengths::Inches)).unwrap();
    assert_eq!(record["entries"][0]["budget"]["expanded"].as_f64(), Some(expanded), "{record}");
}

#[tokio::test]
async fn readings_behind_a_failed_check_carry_its_error_and_say_so() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    for shows in [200.0, 200.30] {
        bench.command(check("scale"), &mut stored).unwrap();
        bench.weigh("scale", [shows, 0.0], [0.0, 0.0], &mut stored);
    }
    bench.weigh("scale", [203.2, 0.0], [0.0, 0.0], &mut stored);
    let filed = stored.of("reading_filed");
    let Change::ReadingFiled { values, trouble, .. } = &filed.last().unwrap().change else { panic!() };
    // 0.30 g in 200 g, as long as it is out; at 203.2 g 0.3048 g.
    assert!(values[0].u > 0.3048, "{values:?}");
    assert!(trouble.as_ref().unwrap().contains("failed its last check: it reads +0.300 g off"), "{trouble:?}");
    let club = bench.core.state.club().unwrap();
    let record = serde_json::to_value(record(club, String::new(), Lengths::Inches)).unwrap();
    assert!(record["entries"][0]["trouble"].as_str().unwrap().contains("+0.300 g off"), "{record}");
    // In order again, the error is one of three: 0.0015 / √3.
    bench.command(check("scale"), &mut stored).unwrap();
    bench.weigh("scale", [200.0, 0.0], [0.0, 0.0], &mut stored);
    bench.weigh("scale", [203.2, 0.0], [0.0, 0.0], &mut stored);
    let Change::ReadingCaptured(captured) = &stored.of("reading_captured").last().unwrap().change else { panic!() };
    let drift = captured.budget_inputs.unwrap().drift.unwrap();
    assert!((drift.relative - 0.0015 / 3f64.sqrt()).abs() < 1e-9, "{drift:?}");
    assert_proved(&stored).await;
}

#[test]
fn each_weight_has_a_chart_of_its_own() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    let check = |bench: &mut DeskBench, stored: &mut Stored, mass: f64, shows: f64| {
        let command = json!({"command": "check_begin", "instrument": "scale", "mass": format!("{mass} g"),
                             "class": "F1", "expanded_u": "0.3 mg"});
        bench.command(command, stored).unwrap();
        bench.weigh("scale", [shows, 0.0], [0.0, 0.0], stored);
        bench.wait(86_400.0);
        last_check(stored)
    };
    for shows in [200.01, 200.0, 200.01, 200.0, 200.01] {
        assert_eq!(check(&mut bench, &mut stored, 200.0, shows).zone, CheckZone::Good);
    }
    // 0.02 g at 1000 g is within the 0.06 g of its class and 3.4 s from the mean of 200 g, which says nothing of 1000 g.
    let other = check(&mut bench, &mut stored, 1000.0, 1000.02);
    assert!(other.zone == CheckZone::Good && other.chart.is_none() && other.repeatability_g.is_none(), "{other:?}");
    // By hand: mean 0.006 g and s = √((3 · 0.004² + 2 · 0.006²) / 4) = 0.005 477 g; the chart is still there.
    let again = check(&mut bench, &mut stored, 200.0, 200.01);
    let limits = again.chart.unwrap();
    assert!((limits.mean_g - 0.006).abs() < 1e-9 && (limits.s_g - 0.005_477).abs() < 1e-6, "{limits:?}");
    // A check that was out is no repeatability: six good ones, s of {0.01, 0, 0.01, 0, 0.01, 0.01} = 0.005 164 g.
    let out = check(&mut bench, &mut stored, 200.0, 200.5);
    assert!(out.zone == CheckZone::Out && (out.repeatability_g.unwrap() - 0.005_164).abs() < 1e-6, "{out:?}");
    // Another weight does not lift what this one found.
    assert_eq!(check(&mut bench, &mut stored, 1000.0, 1000.0).zone, CheckZone::Good);
    let trouble = |bench: &DeskBench| bench.core.state.trust.trouble(&bench.core.state.policy, "scale", 0);
    assert!(trouble(&bench).unwrap().contains("+0.500 g"));
    check(&mut bench, &mut stored, 200.0, 200.0);
    assert_eq!(trouble(&bench), None);
    let shown = trust_detail(&bench.core.state, "scale", 0);
    let labels: Vec<&str> = shown.charts.iter().map(|chart| chart.label.as_str()).collect();
    assert_eq!(labels, ["error of 200 g, g", "error of 1000 g, g"]);
}

#[test]
fn a_check_weight_on_the_pan_gets_no_verdict_of_a_part() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    bench.command(json!({"command": "import_order", "text": ORDER}), &mut stored).unwrap();
    bench.command(json!({"command": "open_order", "order": "W-1"}), &mut stored).unwrap();
    let shown = |bench: &mut DeskBench| {
        let readings = &bench.snapshot().instruments[0].readings;
        readings.iter().any(|reading| reading.characteristic.is_some() || reading.verdict.is_some())
    };
    bench.command(check("scale"), &mut stored).unwrap();
    // As heavy as a head: while it comes to rest and while it lies there.
    bench.lay("scale", &[0.0; 60], &mut stored);
    bench.lay("scale", &[200.0; 3], &mut stored);
    assert!(!shown(&mut bench), "{:?}", bench.snapshot().instruments[0].readings);
    bench.lay("scale", &[200.0; 90], &mut stored);
    assert_eq!(stored.of("checked").len(), 1);
    assert!(!shown(&mut bench), "{:?}", bench.snapshot().instruments[0].readings);
    bench.lay("scale", &[0.0; 60], &mut stored);
    bench.lay("scale", &[203.0; 90], &mut stored);
    assert!(shown(&mut bench), "a part is one again");
}

#[tokio::test]
async fn what_the_checks_of_a_gauge_found_is_in_its_budgets() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    let block =
        json!({"command": "check_begin", "instrument": "gauge", "lie": "60 deg", "loft": "30 deg", "u": "0.02 deg"});
    for (lie, loft) in [(60.06, 30.0), (60.08, 30.0)] {
        bench.command(block.clone(), &mut stored).unwrap();
        bench.weigh("gauge", [lie, loft], [0.0, 0.0], &mut stored);
    }
    bench.weigh("gauge", [61.0, 31.0], [0.0, 0.0], &mut stored);
    let Change::ReadingCaptured(captured) = &stored.of("reading_captured").last().unwrap().change else { panic!() };
    let drift_of = |quantity: Quantity| {
        let budget = captured.budget.iter().find(|budget| budget.quantity == quantity).unwrap();
        budget.components.iter().find(|c| c.source == Source::Drift).map(|c| (c.u, c.freedom))
    };
    // Root mean square of 0.06 and 0.08: √0.005 = 0.070711; the loft was right.
    let (u, freedom) = drift_of(Quantity::Lie).unwrap();
    assert!((u - 0.005_f64.sqrt()).abs() < 1e-9 && freedom == Some(2.0), "{captured:?}");
    assert!(drift_of(Quantity::Loft).is_none_or(|(u, _)| u < 1e-9), "{captured:?}");
    assert_proved(&stored).await;
}

#[test]
fn checks_of_one_sitting_make_no_control_limits() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    // Five in a few minutes with s = 0.0041 g (0.41 d, USP 41), then 0.02 g off: beyond 3 s, and what the class allows.
    for shows in [200.0, 200.0, 200.0, 200.0, 200.0, 200.02] {
        bench.command(check("scale"), &mut stored).unwrap();
        bench.weigh("scale", [shows, 0.0], [0.0, 0.0], &mut stored);
    }
    let last = last_check(&stored);
    assert!(last.zone != CheckZone::Out && last.chart.is_none(), "{last:?}");
}

#[tokio::test]
async fn a_beam_is_checked_at_a_place_because_its_mass_hides_a_moved_stop() {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    let empty = [8388.0, -4210.0];
    // 500 g at a place, on supports that are `off` mm from where they are thought to be: 1 g is 1000 counts.
    let counts = |at: f64, off: f64| {
        let r2 = 500.0 * (at - 100.0 - off) / 740.0;
        [empty[0] + (500.0 - r2) * 1000.0, empty[1] + r2 * 1000.0]
    };
    let check = |extra: Value| {
        let mut command = json!({"command": "check_begin", "instrument": "beam", "mass": "500 g", "class": "F1", "expanded_u": "0.8 mg"});
        command.as_object_mut().unwrap().extend(extra.as_object().unwrap().clone());
        command
    };
    bench.command(check(json!({"at": "450 mm", "u_at": "0.2 mm"})), &mut stored).unwrap();
    bench.weigh("beam", counts(450.0, 0.0), empty, &mut stored);
    let good = last_check(&stored);
    assert!(good.zone == CheckZone::Good && good.balance.unwrap().error_mm.abs() < 0.01, "{good:?}");
    bench.command(check(json!({"at": "450 mm", "u_at": "0.2 mm"})), &mut stored).unwrap();
    bench.weigh("beam", counts(450.0, 1.0), empty, &mut stored);
    let moved = last_check(&stored);
    assert!(moved.error_g.abs() < 0.01 && moved.zone == CheckZone::Out, "{moved:?}");
    assert!(
        (moved.balance.unwrap().error_mm + 1.0).abs() < 0.01 && moved.reason.contains("-1.000 mm off"),
        "{moved:?}"
    );
    // What was found does not excuse the next check, and is in the club behind it: 1 mm in the balance point, and with 427 g
    // 427 / 1260.136 = 0.33885 points (JCGM 100, 5.1), as long as the beam is out.
    bench.command(check(json!({"at": "450 mm", "u_at": "0.2 mm"})), &mut stored).unwrap();
    bench.weigh("beam", counts(450.0, 1.0), empty, &mut stored);
    assert_eq!(last_check(&stored).zone, CheckZone::Out);
    let drift_of_club = |bench: &mut DeskBench, stored: &mut Stored| {
        bench.weigh("beam", [empty[0] + 60_000.0, empty[1] + 367_000.0], empty, stored);
        let Change::ReadingCaptured(captured) = &stored.of("reading_captured").last().unwrap().change else { panic!() };
        [Quantity::Balance, Quantity::SwingWeight].map(|quantity| {
            let budget = captured.budget.iter().find(|budget| budget.quantity == quantity).unwrap();
            budget.components.iter().find(|c| c.source == Source::Drift).unwrap().u
        })
    };
    let [balance, swing] = drift_of_club(&mut bench, &mut stored);
    assert!((balance - 1.0).abs() < 0.001 && (swing - 0.338_85).abs() < 0.001, "{balance} {swing}");
    let trouble = bench.core.state.trust.trouble(&bench.core.state.policy, "beam", 0).unwrap();
    assert!(
        trouble
            .starts_with("failed its last check: it reads -1.000 mm off in balance point, more than three times the"),
        "{trouble}"
    );
    // In order again: two errors of 1 mm among four, √(2 / 4) mm.
    bench.command(check(json!({"at": "450 mm", "u_at": "0.2 mm"})), &mut stored).unwrap();
    bench.weigh("beam", counts(450.0, 0.0), empty, &mut stored);
    let [balance, swing] = drift_of_club(&mut bench, &mut stored);
    assert!((balance - 0.5_f64.sqrt()).abs() < 0.001, "{balance}");
    assert!((swing - 0.338_85 * 0.5_f64.sqrt()).abs() < 0.001, "{swing}");
    // Without its place the same weight says nothing of the stop.
    bench.command(check(json!({})), &mut stored).unwrap();
    bench.weigh("beam", counts(450.0, 1.0), empty, &mut stored);
    assert!(last_check(&stored).balance.is_none());
    assert_proved(&stored).await;
    // A check whose balance was made to look right gives the readings behind it away.
    let mut forged = Stored { events: stored.events.clone(), evidence: stored.evidence.clone() };
    for event in &mut forged.events {
        if let Change::Checked(check) = &mut event.change {
            check.balance = check.balance.map(|balance| BalanceError { error_mm: 0.0, ..balance });
        }
    }
    assert!(faults(&forged).await.iter().any(|what| what.contains("another drift")));
}
