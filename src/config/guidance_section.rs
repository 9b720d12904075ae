//! The parts of a bench's configuration that say what clubs are compared with and how far heads may be bent.

use super::document::Section;
use super::named_files::NamedFiles;
use super::rules_file;
use crate::measurement::quantity::Dimension;
use crate::work_order::bending::BendLimit;
use crate::work_order::rules::RuleBook;

/// Largest limit of bending that is believed, in degrees (common practice, no source).
const MOST_LIMIT_DEG: f64 = 10.0;

/// Reads `[rules]`: the rules of the file it names, else those that come with the program.
pub(super) fn read_rules_section(top: &Section<'_>, files: &NamedFiles<'_>) -> Option<RuleBook> {
    let own = top.section("rules", |section| {
        section.required_text("file", "my-rules.toml")?;
        files.text(section, "file")
    });
    let read = match own {
        Some(None) => return None,
        Some(Some((name, text))) => rules_file::read_rules(&name, &text),
        None => rules_file::built_in(),
    };
    read.map_err(|mistakes| top.add(mistakes)).ok()
}

/// Reads every `[[bending]]`.
pub(super) fn read_bend_limits(top: &Section<'_>) -> Vec<BendLimit> {
    let limits = top.sections("bending", |_, section| {
        let material = section.required_text("material", "forged carbon steel").map(|text| text.trim().to_owned());
        let limit = |key| {
            if !section.has(key) {
                section.mistake(key, "expected the most change in all, such as \"1 deg\"");
            }
            let limit = section.quantity(key, Dimension::Angle)?;
            let fits = (0.0..=MOST_LIMIT_DEG).contains(&limit);
            if !fits {
                section.mistake(key, format!("expected 0 deg to {MOST_LIMIT_DEG} deg"));
            }
            fits.then_some(limit)
        };
        let (loft_deg, lie_deg) = (limit("loft"), limit("lie"));
        Some(BendLimit { material: material?, loft_deg: loft_deg?, lie_deg: lie_deg? })
    });
    let mut materials: Vec<&str> = limits.iter().map(|limit| limit.material.as_str()).collect();
    materials.sort_unstable();
    if materials.windows(2).any(|pair| pair.first() == pair.last()) {
        top.mistake("bending", "two limits are for the same material");
    }
    limits
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use crate::config::bench_file::{read_bench, read_bench_with};
    use crate::config::named_files::NamedFiles;

    const BENCH: &str = "site = \"s\"\nbench = \"b\"\n";

    #[test]
    fn rules_and_limits_are_read_and_every_mistake_is_named() {
        let plain = read_bench("f", BENCH).unwrap();
        assert!(plain.rules.edition.contains("2019") && plain.bend_limits.is_empty());
        let text = format!(
            "{BENCH}[rules]\nfile = \"own.toml\"\n[[bending]]\nmaterial = \"cast steel\"\nloft = \"1 deg\"\nlie = \"2 deg\"\n"
        );
        let own = "edition = \"1\"\nsource = \"x\"\n[[rule]]\nname = \"a\"\nof = \"length\"\nat_most = \"40 in\"\nsource = \"y\"\n";
        let files = |text: &str| NamedFiles::kept(BTreeMap::from([("own.toml".to_owned(), text.to_owned())]));
        let settings = read_bench_with("f", &text, &files(own)).unwrap();
        assert_eq!((settings.rules.edition.as_str(), settings.rules.rules.len()), ("1", 1));
        assert_eq!(settings.named_files["own.toml"], own);
        let mistakes = read_bench_with("f", &text, &files(&own.replace("40 in", "40"))).unwrap_err().to_string();
        assert!(mistakes.contains("own.toml:6: rule[1].at_most"), "{mistakes}");
        assert!(read_bench("f", &text).unwrap_err().to_string().contains("f:4: rules.file"));
        assert!((settings.bend_limits[0].lie_deg - 2.0).abs() < 1e-12);
        let bad = format!(
            "{BENCH}[rules]\ncolour = 1\n[[bending]]\nloft = \"1\"\nlie = \"20 deg\"\n[[bending]]\nmaterial = \"a\"\n"
        );
        let mistakes = read_bench("f", &bad).unwrap_err().to_string();
        for words in [
            "f:3: rules.file",
            "f:4: rules.colour",
            "f:5: bending[1].material",
            "f:6: bending[1].loft",
            "f:7: bending[1].lie: found \"20 deg\", expected 0 deg to 10 deg",
            "f:8: bending[2].loft",
            "f:8: bending[2].lie",
        ] {
            assert!(mistakes.contains(words), "{words} not in:\n{mistakes}");
        }
        let twice = "[[bending]]\nmaterial = \"a\"\nloft = \"1 deg\"\nlie = \"1 deg\"\n".repeat(2);
        assert!(read_bench("f", &format!("{BENCH}{twice}")).unwrap_err().to_string().contains("same material"));
    }
}
