//! The builder's truths: complete, in order, consistent with each other and with what the instruments send.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a helper of a test fails the test")]

use std::fs::File;
use std::io::Read as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use simulators::{
    Action, Bench, BenchSettings, BuilderReport, CELL_POSITIONS_MM, COUNTS_PER_G, Clock, Eyes, Instrument, OrderPlan,
    Seen, Truth, ZERO_COUNTS,
};
use tokio::sync::{mpsc, watch};

struct Day {
    truths: Vec<Truth>,
    actions: Vec<Action>,
    report: BuilderReport,
}

/// Settings with the example order cut to `clubs` clubs, and where truths and actions arrive.
fn settings(folder: &Path, pace: f64, clubs: usize) -> (BenchSettings, mpsc::Receiver<Truth>, mpsc::Receiver<Action>) {
    let (truth, truths) = mpsc::channel(1000);
    let (action, actions) = mpsc::channel(100);
    let mut settings = BenchSettings::new(folder, Clock::new(pace), 5);
    let mut order = OrderPlan::example();
    order.clubs.truncate(clubs);
    settings.plan = Some(vec![order]);
    settings.truth = Some(truth);
    settings.actions = Some(action);
    (settings, truths, actions)
}

async fn build(settings: BenchSettings, mut truths: mpsc::Receiver<Truth>, mut actions: mpsc::Receiver<Action>) -> Day {
    let mut bench = Bench::start(settings).unwrap();
    let report = bench.wait_builder().await;
    bench.stop();
    let mut day = Day { truths: Vec::new(), actions: Vec::new(), report };
    while let Some(truth) = truths.recv().await {
        day.truths.push(truth);
    }
    while let Some(action) = actions.recv().await {
        day.actions.push(action);
    }
    day
}

fn value(truths: &[Truth], characteristic: &str, stage: &str, instrument: &str) -> f64 {
    let found = truths
        .iter()
        .rfind(|truth| (truth.characteristic, truth.stage, truth.instrument) == (characteristic, stage, instrument));
    found.unwrap_or_else(|| panic!("no {characteristic} {stage} {instrument}")).value
}

/// The swing weight in points from A0, worked out from total mass and balance point as one does by hand: ounces times inches
/// beyond the 14-inch fulcrum, less 161, by 1.75. (The club adds up its parts instead.)
fn points(mass_g: f64, balance_mm: f64) -> f64 {
    let ounces = mass_g / 28.349_523_125;
    let inches = balance_mm / 25.4 - 14.0;
    (ounces * inches - 161.0) / 1.75
}

#[tokio::test]
async fn a_club_is_built_in_the_order_of_the_trade_and_its_truths_add_up() {
    let folder = tempfile::tempdir().unwrap();
    let (settings, truths, actions) = settings(folder.path(), 50.0, 2);
    let day = build(settings, truths, actions).await;
    assert_eq!(day.report.clubs, ["W-1042/1", "W-1042/2"]);
    assert_eq!((day.report.laid_again, day.report.given_up.len()), (0, 0));
    // For each club one length typed, and one look at what is advised from the drawers.
    let typed = day.actions.iter().filter(|action| matches!(action, Action::Type { .. })).count();
    let advised = day.actions.iter().filter(|action| matches!(action, Action::UseAdvice)).count();
    assert_eq!((typed, advised, day.actions.len()), (2, 2, 4));

    let order = OrderPlan::example();
    for plan in &order.clubs[..2] {
        let club: Vec<Truth> = day.truths.iter().filter(|truth| truth.club == plan.club).cloned().collect();
        let stages: Vec<&str> = club.iter().map(|truth| truth.stage).collect();
        let mut sorted = stages.clone();
        sorted.sort_by_key(|stage| ["part", "dry_fit", "gripped", "final"].iter().position(|known| known == stage));
        assert_eq!(stages, sorted);

        // The dry fit weighs what its parts weigh; adhesive and tape are two grams; the rest is weight at the head.
        let parts_g: f64 =
            ["head_mass", "shaft_mass", "grip_mass"].map(|part| value(&club, part, "part", "parts-scale")).iter().sum();
        assert!((value(&club, "total_mass", "dry_fit", "beam") - parts_g).abs() < 1e-9);
        let first_gripped = club.iter().find(|truth| truth.stage == "gripped").unwrap().value;
        assert!((first_gripped - parts_g - 2.0).abs() < 1e-9);
        let final_g = value(&club, "total_mass", "final", "club-scale");
        assert!((value(&club, "total_mass", "final", "beam") - final_g).abs() < 1e-9);
        let added_tenths = (final_g - parts_g - 2.0) * 10.0;
        assert!((added_tenths - added_tenths.round()).abs() < 1e-6 && added_tenths > 2.0, "{added_tenths}");

        for stage in ["dry_fit", "gripped", "final"] {
            let by_hand =
                points(value(&club, "total_mass", stage, "beam"), value(&club, "balance_point", stage, "beam"));
            assert!((value(&club, "swing_weight", stage, "beam") - by_hand).abs() < 1e-9, "{stage}");
        }
        // A tenth of a gram at the head is at most 0.07 point, and he leaves up to 0.3 g.
        let off = value(&club, "swing_weight", "final", "beam") - plan.swing_weight_points;
        assert!(off.abs() < 0.25, "{off}");
        assert!((value(&club, "loft", "final", "gauge") - plan.loft_deg).abs() <= 0.2);
        assert!((value(&club, "lie", "final", "gauge") - plan.lie_deg).abs() <= 0.2);
    }
    let times: Vec<f64> = day.truths.iter().map(|truth| truth.t_s).collect();
    assert!(times.is_sorted(), "{times:?}");
    assert!(matches!(&day.actions[0], Action::Type { club, characteristic, quantity }
        if club == "W-1042/1" && characteristic == "length" && quantity.ends_with(" in")));
}

#[tokio::test]
async fn what_the_display_does_not_show_is_laid_down_again() {
    let folder = tempfile::tempdir().unwrap();
    let (mut settings, truths, actions) = settings(folder.path(), 100.0, 1);
    // A display that has opened and finished the club but never shows a capture.
    let seen =
        Seen { current_club: Some("W-1042/1".to_owned()), finished: ["W-1042/1".to_owned()].into(), ..Seen::default() };
    let (_display, eyes) = watch::channel(seen);
    settings.eyes = Some(Eyes(eyes));
    let day = build(settings, truths, actions).await;
    // Eight placements: three parts, dry fit, gripped, scale, beam, gauge; each three times.
    assert_eq!((day.report.placements, day.report.laid_again, day.report.given_up.len()), (24, 16, 8));
}

#[tokio::test]
async fn he_goes_on_when_the_display_shows_a_capture_and_adds_what_it_advises() {
    let folder = tempfile::tempdir().unwrap();
    let (mut settings, mut truths, _actions) = settings(folder.path(), 50.0, 1);
    let (display, eyes) = watch::channel(Seen::default());
    settings.eyes = Some(Eyes(eyes));
    let clock = settings.clock;
    let mut bench = Bench::start(settings).unwrap();
    // A display that opens the club at once, shows each placement as captured two seconds after the hand is away, and
    // advises 1.54 g after the first time the gripped club was on the beam; finished with the gauge.
    display.send_modify(|seen| seen.current_club = Some("W-1042/1".to_owned()));
    let mut all: Vec<Truth> = Vec::new();
    while let Some(truth) = truths.recv().await {
        let repeated = all.last().is_some_and(|last| last.t == truth.t);
        all.push(truth.clone());
        if repeated {
            continue;
        }
        clock.sleep_until(truth.t_s + 2.0).await;
        display.send_modify(|seen| {
            *seen.captured.entry(truth.instrument.to_owned()).or_default() += 1;
            let gripped = all.iter().filter(|past| (past.stage, past.unit) == ("gripped", "g"));
            seen.advice_head_g = (gripped.count() == 1).then_some(1.54);
            if truth.instrument == "gauge" {
                seen.finished.insert(truth.club.clone());
            }
        });
        if truth.instrument == "gauge" {
            break;
        }
    }
    let report = bench.wait_builder().await;
    // Nine placements: as without a display, and the beam once more after the weight.
    let counted = (report.placements, report.laid_again, report.given_up.len());
    assert_eq!(counted, (9, 0, 0), "{:?}", report.given_up);
    let masses_g: Vec<f64> = all
        .iter()
        .filter(|truth| (truth.stage, truth.characteristic) == ("gripped", "total_mass"))
        .map(|truth| truth.value)
        .collect();
    assert_eq!(masses_g.len(), 2);
    // To a tenth of a gram.
    assert!((masses_g[1] - masses_g[0] - 1.5).abs() < 1e-9, "{masses_g:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_beam_sends_what_the_truth_says() {
    let folder = tempfile::tempdir().unwrap();
    let (mut settings, mut truths, _actions) = settings(folder.path(), 20.0, 1);
    let clock = settings.clock;
    settings.seed = 9;
    let mut bench = Bench::start(settings).unwrap();
    let port = bench.port(Instrument::Beam);
    // Reads for the whole day: (bench time, counts of both cells). O_NOCTTY | O_NONBLOCK as in Linux's asm-generic/fcntl.h.
    let reading = std::thread::spawn(move || {
        let mut port: File = std::fs::OpenOptions::new().read(true).custom_flags(0o4400).open(port).unwrap();
        let (mut lines, mut kept, mut piece) = (Vec::new(), Vec::new(), [0_u8; 4096]);
        loop {
            match port.read(&mut piece) {
                Ok(0) => return lines,
                Ok(count) => kept.extend_from_slice(&piece[..count]),
                Err(error) if error.kind() == std::io::ErrorKind::WouldBlock => {}
                Err(_) => return lines,
            }
            while let Some(end) = kept.iter().position(|&byte| byte == b'\n') {
                let line = String::from_utf8(kept.drain(..=end).collect()).unwrap();
                let (near, far) = line.trim_end().split_once('\t').unwrap();
                let counts: [f64; 2] = [near.parse().unwrap(), far.parse().unwrap()];
                lines.push((clock.now_s(), counts));
            }
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
    });
    bench.wait_builder().await;
    bench.stop();
    let lines = reading.join().unwrap();

    let mut checked = 0;
    let mut total_g = 0.0;
    while let Some(truth) = truths.recv().await {
        if truth.characteristic == "total_mass" {
            total_g = truth.value;
        }
        if (truth.instrument, truth.characteristic) != ("beam", "swing_weight") {
            continue;
        }
        // From 2.5 s to 5.5 s after the hand is away, before he lifts at 6.6 s or later.
        let settled: Vec<[f64; 2]> = lines
            .iter()
            .filter(|(t_s, _)| (truth.t_s + 2.5..truth.t_s + 5.5).contains(t_s))
            .map(|&(_, counts)| counts)
            .collect();
        assert!(settled.len() > 100, "{}", settled.len());
        let count = f64::from(u32::try_from(settled.len()).unwrap());
        let reaction_g = |cell: usize| {
            (settled.iter().map(|counts| counts[cell]).sum::<f64>() / count - ZERO_COUNTS[cell]) / COUNTS_PER_G
        };
        let [near_g, far_g] = [reaction_g(0), reaction_g(1)];
        let mass_g = near_g + far_g;
        let balance_mm = (near_g * CELL_POSITIONS_MM[0] + far_g * CELL_POSITIONS_MM[1]) / mass_g;
        // The cells' drift since the start has a standard deviation of 0.05 g: 0.15 g is three of them on mass, and on the
        // far cell, (33 - 14) / 49.6 = 0.39 point a gram, 0.1 point with the near one.
        assert!((mass_g - total_g).abs() < 0.3, "{mass_g} {total_g}");
        let read = points(mass_g, balance_mm);
        assert!((read - truth.value).abs() < 0.1, "{read} {}", truth.value);
        checked += 1;
    }
    assert!(checked >= 4, "{checked}");
}
