//! The parts of a bench's configuration that say how far its numbers are trusted: verdicts, checks, the place.

use super::document::Section;
use crate::measurement::calibration::Calibration;
use crate::measurement::check_weight::InstrumentClass;
use crate::measurement::gravity::gravity_at;
use crate::measurement::quantity::Dimension;
use crate::measurement::unit::{Degrees, Grams};
use crate::work_order::checks::{Corrections, Policy, WhenOut};
use crate::work_order::judging::DecisionRule;

/// Shortest and longest time between checks, in seconds: a minute and ten years.
const CHECK_EVERY_S: std::ops::RangeInclusive<f64> = 60.0..=3.2e8;

/// Reads `[judging]`, `[checks]` and `[operators]`.
pub(super) fn read_policy(top: &Section<'_>) -> Option<Policy> {
    let rule = top.section("judging", read_rule).unwrap_or(Some(DecisionRule::Plain));
    let checks = top.section("checks", read_checks).unwrap_or(Some((None, WhenOut::Warn)));
    let corrections = top.section("operators", read_corrections).unwrap_or(Some(Corrections::Free));
    let (check_every_s, when_out) = checks?;
    Some(Policy { rule: rule?, check_every_s, when_out, corrections: corrections? })
}

fn read_corrections(section: &Section<'_>) -> Option<Corrections> {
    let choices = [("free", Corrections::Free), ("named", Corrections::Named)];
    if section.has("corrections") { section.choice("corrections", &choices) } else { Some(Corrections::Free) }
}

fn read_rule(section: &Section<'_>) -> Option<DecisionRule> {
    let guard = if section.has("guard") { section.number("guard", 0.0..=3.0) } else { Some(1.0) };
    let guarded = section.choice("rule", &[("plain", false), ("guarded", true)]);
    if !section.has("rule") {
        section.mistake("rule", "expected one of: plain, guarded");
    }
    Some(if guarded? { DecisionRule::Guarded { guard: guard? } } else { DecisionRule::Plain })
}

fn read_checks(section: &Section<'_>) -> Option<(Option<f64>, WhenOut)> {
    let every_s = if section.has("check_every") { duration(section, "check_every").map(Some) } else { Some(None) };
    let choices = [("warn", WhenOut::Warn), ("block", WhenOut::Block)];
    let when_out = if section.has("when_out") { section.choice("when_out", &choices) } else { Some(WhenOut::Warn) };
    Some((every_s?, when_out?))
}

/// `"1 day"`, `"12 h"`, `"2 weeks"`, in seconds.
fn duration(section: &Section<'_>, key: &'static str) -> Option<f64> {
    let text = section.text(key)?;
    let seconds = text.split_once(' ').and_then(|(number, unit)| {
        let unit_s = match unit.trim().trim_end_matches('s') {
            "min" | "minute" => 60.0,
            "h" | "hour" => 3_600.0,
            "d" | "day" => 86_400.0,
            "week" => 604_800.0,
            _ => return None,
        };
        number.parse::<f64>().ok().map(|number| number * unit_s).filter(|s| CHECK_EVERY_S.contains(s))
    });
    if seconds.is_none() {
        section.mistake(key, "expected a time such as \"1 day\", \"12 h\" or \"2 weeks\"");
    }
    seconds
}

/// Reads the accuracy class of a scale.
pub(super) fn read_class(section: &Section<'_>) -> Option<InstrumentClass> {
    let names: Vec<(&str, InstrumentClass)> = InstrumentClass::ALL.iter().map(|class| (class.name(), *class)).collect();
    if section.has("accuracy_class") { section.choice("accuracy_class", &names) } else { None }
}

/// Reads the verification interval e in grams, and checks that the class has instruments of such intervals and capacity.
pub(super) fn read_interval(
    section: &Section<'_>,
    class: Option<InstrumentClass>,
    resolution_g: Option<f64>,
    capacity: Option<Grams>,
) -> Option<f64> {
    let stated = section
        .has("verification_interval")
        .then(|| section.positive("verification_interval", Dimension::Mass))
        .flatten();
    let Some(class) = class else {
        if stated.is_some() {
            section.mistake("verification_interval", "says nothing without accuracy_class");
        }
        return stated;
    };
    let d = resolution_g.filter(|d| *d > 0.0)?;
    let e = stated.unwrap_or(d);
    // R 76-1, 3.4.2 (from memory): d < e <= 10 d with an auxiliary indication, else e = d.
    if !(0.999..=10.001).contains(&(e / d)) {
        section.mistake("verification_interval", "expected e of the plate: the resolution, or up to ten times that");
        return stated;
    }
    let name = class.name();
    let Some(counts) = class.interval_counts(Grams(e)) else {
        let words = format!("class {name} has no scale with a verification interval of {e} g (OIML R 76-1, table 3)");
        section.mistake("accuracy_class", words);
        return stated;
    };
    if let Some(capacity) = capacity {
        let n = (capacity.0 / e).round();
        if !counts.contains(&n) {
            let (least, most) = (counts.start(), counts.end());
            let words = format!(
                "class {name} with a verification interval of {e} g has {least} to {most} of them, {} g are {n} (OIML R 76-1, table 3): give verification_interval as the plate says e, which may be ten times the last digit",
                capacity.0
            );
            section.mistake("accuracy_class", words);
        }
    }
    stated
}

/// Reads a place as its gravity, in m/s².
pub(super) fn read_place(section: &Section<'_>) -> Option<f64> {
    for key in ["latitude", "height"] {
        if !section.has(key) {
            section.mistake(key, "expected latitude such as \"36.2 deg\" and height such as \"620 m\"");
        }
    }
    let (latitude, height_mm) =
        (section.quantity("latitude", Dimension::Angle), section.quantity("height", Dimension::Length));
    let (latitude, height_mm) = (latitude?, height_mm?);
    let gravity = gravity_at(Degrees(latitude), height_mm / 1000.0);
    if gravity.is_none() {
        section.mistake("latitude", "expected -90 to 90 deg, and a height from -1000 m to 10000 m");
    }
    gravity
}

/// A calibration that was made where gravity is `adjusted`, for a place where it is `here` (both m/s²).
///
/// A force cell shows `m·g`; a mass that reads too little there gets a span that makes up for it.
pub(super) fn moved(calibration: Calibration, adjusted: f64, here: f64) -> Calibration {
    let ratio = adjusted / here;
    match calibration {
        Calibration::Scale(mut scale) => {
            scale.span *= ratio;
            scale.bend_per_g *= ratio * ratio;
            Calibration::Scale(scale)
        }
        Calibration::Beam(mut beam) => {
            beam.counts_per_gram = beam.counts_per_gram.map(|counts| counts / ratio);
            Calibration::Beam(beam)
        }
        Calibration::Gauge(gauge) => Calibration::Gauge(gauge),
    }
}

#[cfg(test)]
mod tests {
    use crate::config::bench_file::read_bench;
    use crate::measurement::calibration::Calibration;
    use crate::work_order::checks::WhenOut;
    use crate::work_order::judging::DecisionRule;

    const BENCH: &str = "site = \"s\"\nbench = \"b\"\n";
    const SCALE: &str = "[[instrument]]\nid = \"scale\"\nkind = \"scale\"\nport = \"/dev/x\"\nformat = \"hdr2-sign8-unit3\"\nresolution = \"0.01 g\"\n";

    #[test]
    fn rules_and_checks_are_read_and_every_mistake_is_named() {
        let plain = read_bench("f", BENCH).unwrap().policy;
        assert_eq!((plain.rule, plain.check_every_s, plain.when_out), (DecisionRule::Plain, None, WhenOut::Warn));
        let text = format!(
            "{BENCH}[judging]\nrule = \"guarded\"\nguard = 0.5\n[checks]\ncheck_every = \"1 day\"\nwhen_out = \"block\"\n"
        );
        let strict = read_bench("f", &text).unwrap().policy;
        assert_eq!(strict.rule, DecisionRule::Guarded { guard: 0.5 });
        assert_eq!((strict.check_every_s, strict.when_out), (Some(86_400.0), WhenOut::Block));
        for (bad, words) in [
            ("[judging]\nrule = \"strict\"\n", "plain, guarded"),
            ("[judging]\nguard = 1.0\n", "judging.rule"),
            ("[operators]\ncorrections = \"some\"\n", "free, named"),
            ("[checks]\ncheck_every = \"daily\"\n", "such as \"1 day\""),
            ("[checks]\nwhen_out = \"stop\"\n", "warn, block"),
            ("[checks]\ncheck_every = \"daily\"\nwhen_out = \"stop\"\n", "checks.when_out"),
            ("[place]\nlatitude = \"1\"\nheight = \"2\"\n", "place.height"),
            ("data = \" \"\n", "f:3: data"),
            ("[http]\nlisten = \"x\"\nurl = \"y\"\n", "http.url"),
            (
                "[[instrument]]\nid = \"a\"\nkind = \"scal\"\nresolution = \"0.1 g\"\nrate = 0\ncapacity = \"0 g\"\n",
                "capacity",
            ),
            ("[place]\nlatitude = \"95 deg\"\nheight = \"0 m\"\n", "-90 to 90"),
            ("[place]\nlatitude = \"36 deg\"\n", "place.height"),
        ] {
            let mistakes = read_bench("f", &format!("{BENCH}{bad}")).unwrap_err().to_string();
            assert!(mistakes.contains(words), "{bad}: {mistakes}");
        }
    }

    #[test]
    fn one_run_names_every_mistake_of_an_instrument_and_invents_none() {
        let text = format!(
            "{BENCH}[[instrument]]\nid = \"scale\"\nname = \"\"\nkind = \"scal\"\nport = \"\"\nformat = \"scanner\"\nresolution = \"0.1 g\"\nrate = 0\ncapacity = \"0 g\"\nhue = 1\n\
             [[instrument]]\nid = \"beam\"\nkind = \"beam\"\nport = \"/dev/y\"\nformat = \"scanner\"\n\
             [instrument.calibration]\nzero_counts = [0, 0]\ncounts_per_gram = [0, 1]\nx1 = \"100 mm\"\nx2 = \"100 mm\"\nu_x1 = \"-1 mm\"\n\
             [[instrument]]\nid = \"s2\"\nkind = \"scale\"\nport = \"/dev/z\"\nformat = \"plain-value-unit\"\nresolution = \"0 g\"\ncapacity = \"-3 g\"\n"
        );
        let mistakes = read_bench("f", &text).unwrap_err();
        let found: Vec<&str> = mistakes.0.iter().map(|mistake| mistake.key.as_str()).collect();
        let expected = [
            "instrument[1].name",
            "instrument[1].kind",
            "instrument[1].port",
            "instrument[1].rate",
            "instrument[1].capacity",
            "instrument[1].hue",
            "instrument[2].format",
            "instrument[2].calibration.counts_per_gram",
            "instrument[2].calibration.x2",
            "instrument[2].calibration.u_x1",
            "instrument[3].resolution",
            "instrument[3].capacity",
        ];
        assert_eq!(found, expected, "{mistakes}");
    }

    #[test]
    fn a_class_that_r_76_does_not_know_of_such_a_scale_is_a_mistake() {
        // R 76-1, table 3: class II has 100 to 100 000 e up to 0.05 g and 5000 to 100 000 e from 0.1 g on.
        let read = |capacity: &str, more: &str| {
            read_bench("f", &format!("{BENCH}{SCALE}capacity = \"{capacity}\"\naccuracy_class = \"II\"\n{more}"))
        };
        let e = |text: &str| format!("verification_interval = \"{text}\"\n");
        assert!(read("1000 g", "").is_ok() && read("1200 g", &e("0.1 g")).is_ok());
        let scale = &read("1200 g", &e("0.1 g")).unwrap().instruments[0];
        assert_eq!(scale.verification_interval_g, Some(0.1));
        for (capacity, more, words) in [
            ("1200 g", String::new(), "1200 g are 120000"),
            ("300 g", e("0.1 g"), "5000 to 100000 of them, 300 g are 3000"),
            ("1200 g", e("0.2 g"), "up to ten times"),
            ("600 g", e("0.07 g"), "no scale with a verification interval of 0.07 g"),
        ] {
            let mistakes = read(capacity, &more).unwrap_err().to_string();
            assert!(mistakes.contains(words), "{capacity} {more}: {mistakes}");
        }
        let classless = read_bench("f", &format!("{BENCH}{SCALE}{}", e("0.1 g"))).unwrap_err().to_string();
        assert!(classless.contains("without accuracy_class"), "{classless}");
    }

    #[test]
    fn a_scale_that_was_adjusted_elsewhere_gets_the_gravity_of_its_place() {
        // physics: from 60.2° N to 1.3° N gravity falls by 4.0e-3, so 330 g reads 1.3 g low.
        let place = |latitude: &str| format!("{{ latitude = \"{latitude}\", height = \"0 m\" }}");
        let text = format!("{BENCH}place = {}\n{SCALE}adjusted_at = {}\n", place("1.3 deg"), place("60.2 deg"));
        let settings = read_bench("f", &text).unwrap();
        let Some(Calibration::Scale(scale)) = &settings.instruments[0].calibration else { panic!("no scale") };
        assert!((330.0 * (scale.span - 1.0) - 1.3).abs() < 0.02, "{}", scale.span);
        let homeless = read_bench("f", &format!("{BENCH}{SCALE}adjusted_at = {}\n", place("60.2 deg"))).unwrap_err();
        assert!(homeless.to_string().contains("[place]"), "{homeless}");
    }
}
