//! What went into a club and how it was bent, as rows of the tables on its sheet.

use jiff::tz::TimeZone;

use super::flow::{Block, Column};
use crate::club::characteristic::Characteristic;
use crate::club::shown::number;
use crate::journal::event::parse_rfc3339;
use crate::output::bend_view::{BendDoneView, bending};
use crate::output::text::{self, Lengths};
use crate::output::times::bare_minute;
use crate::work_order::bending::written;
use crate::work_order::drawer_stock::{TakenPart, Taking};
use crate::work_order::drawers::ItemKind;
use crate::work_order::part_stock::{PartKind, UsedPart};
use crate::work_order::record::ClubRecord;

/// Parts: numbered ones, those whose maker's code was scanned, those out of the drawers, and models that the order names.
const PARTS: [Column; 6] = [
    ("parts", 0.12),
    ("what it is", 0.22),
    ("lot, serial and item number, place", 0.315),
    ("mass", 0.105),
    ("put in", 0.15),
    ("by", 0.09),
];
/// Bends between two measurements.
const BENDS: [Column; 7] = [
    ("bends", 0.12),
    ("from", 0.1),
    ("to", 0.15),
    ("by, at the lever", 0.165),
    ("of that sprang back", 0.225),
    ("bent", 0.15),
    ("by", 0.09),
];
const NOBODY: &str = "\u{2013}";

/// The rows, parts before bends, and what was taken out again in words.
pub(super) fn blocks(club: &ClubRecord, lengths: Lengths, zone: &TimeZone) -> Vec<Block> {
    let parts = club.parts.iter().filter(|part| part.released.is_none()).map(|part| used(club, part, lengths, zone));
    let kept = club.takings.iter().filter(|taking| taking.returned.is_none());
    let drawers = kept.flat_map(|taking| taking.parts.iter().map(move |part| taken(taking, part, zone)));
    let row = |cells: Vec<String>| Block::Row { columns: &PARTS, cells };
    let bends = bending(club).done;
    let bends = bends.iter().map(|bend| Block::Row { columns: &BENDS, cells: bent(bend, lengths, zone) });
    parts
        .chain(drawers)
        .chain(named_only(club, lengths))
        .map(row)
        .chain(bends)
        .chain(taken_out(club).map(Block::grey))
        .collect()
}

fn used(club: &ClubRecord, part: &UsedPart, lengths: Lengths, zone: &TimeZone) -> Vec<String> {
    let facts = &part.used.facts;
    let weighed = part.used.kind.and_then(|kind| {
        let own = part.used.weighed.as_ref()?.values.iter().find(|value| value.characteristic == kind.mass())?;
        Some(text::value(own.characteristic, own.value, lengths))
    });
    let mass = weighed.or_else(|| mass_of(club, part.used.kind?, lengths));
    vec![
        called(part),
        facts.model.clone().unwrap_or_default(),
        marks(&[("lot", &facts.lot), ("serial", &facts.serial), ("item", &facts.gtin)]),
        mass.unwrap_or_default(),
        bare_minute(part.at_us, zone),
        part.by.clone().unwrap_or_else(|| NOBODY.to_owned()),
    ]
}

/// `head H-12`, `head` where only its maker's code is known.
fn called(part: &UsedPart) -> String {
    let kind = part.used.kind.map_or("part", PartKind::name);
    part.used.part.as_ref().map_or_else(|| kind.to_owned(), |number| format!("{kind} {number}"))
}

fn marks(marks: &[(&str, &Option<String>)]) -> String {
    let said = marks.iter().filter_map(|(word, value)| Some(format!("{word} {}", value.as_ref()?)));
    said.collect::<Vec<_>>().join(", ")
}

/// What a part of the club weighed on the bench.
fn mass_of(club: &ClubRecord, kind: PartKind, lengths: Lengths) -> Option<String> {
    let entry = club.standing(kind.mass())?;
    Some(text::value(kind.mass(), entry.filed.value, lengths))
}

fn taken(taking: &Taking, part: &TakenPart, zone: &TimeZone) -> Vec<String> {
    vec![
        part.kind.name().to_owned(),
        several(part),
        match &part.place {
            Some(place) => format!("out of the drawers, at: {place}"),
            None => "out of the drawers".to_owned(),
        },
        format!("{} g", number(part.grams(), 2)),
        bare_minute(taking.at_us, zone),
        taking.by.clone().unwrap_or_else(|| NOBODY.to_owned()),
    ]
}

/// `2 × w-2`.
fn several(part: &TakenPart) -> String {
    if part.pieces == 1 { part.item.clone() } else { format!("{} × {}", part.pieces, part.item) }
}

/// Models that the order names, of kinds of which nothing else tells what went in.
fn named_only(club: &ClubRecord, lengths: Lengths) -> impl Iterator<Item = Vec<String>> {
    let models = &club.spec.models;
    let named = [
        (PartKind::Head, ItemKind::Head, &models.head),
        (PartKind::Shaft, ItemKind::Shaft, &models.shaft),
        (PartKind::Grip, ItemKind::Grip, &models.grip),
    ];
    let rows = named.into_iter().filter_map(move |(kind, item, model)| {
        let model = model.as_ref()?;
        let is_known = club.parts.iter().any(|part| part.released.is_none() && part.used.kind == Some(kind));
        if is_known || club.part_taken(item).is_some() {
            return None;
        }
        let (mass, nothing) = (mass_of(club, kind, lengths).unwrap_or_default(), String::new);
        Some(vec![
            kind.name().to_owned(),
            model.clone(),
            "as the order names it".to_owned(),
            mass,
            nothing(),
            nothing(),
        ])
    });
    rows.collect::<Vec<_>>().into_iter()
}

fn bent(bend: &BendDoneView, lengths: Lengths, zone: &TimeZone) -> Vec<String> {
    let Some(of) = Characteristic::parse(bend.characteristic) else { return Vec::new() };
    let angle = |deg: f64| text::value(of, deg, lengths);
    vec![
        of.label().to_owned(),
        bend.before_deg.map_or_else(|| "not measured".to_owned(), angle),
        bend.after_deg.map_or_else(|| "not measured again".to_owned(), angle),
        written(of, bend.lever_deg),
        bend.spring_back_deg.map_or_else(|| NOBODY.to_owned(), |deg| format!("{} deg", number(deg, 1))),
        parse_rfc3339(&bend.at).map(|at_us| bare_minute(at_us, zone)).unwrap_or_default(),
        bend.by.clone().unwrap_or_else(|| NOBODY.to_owned()),
    ]
}

/// What is not in the club any more, with the reason.
fn taken_out(club: &ClubRecord) -> Option<String> {
    let parts = club.parts.iter().filter_map(|part| {
        let facts = &part.used.facts;
        let code = marks(&[("lot", &facts.lot), ("serial", &facts.serial)]);
        let called = called(part);
        let what = if code.is_empty() { called } else { format!("{called}, {code}") };
        Some(format!("{what} ({})", part.released.as_ref()?))
    });
    let takings = club.takings.iter().filter_map(|taking| {
        let what: Vec<String> = taking.parts.iter().map(several).collect();
        Some(format!("{} ({})", what.join(" and "), taking.returned.as_ref()?))
    });
    let all: Vec<String> = parts.chain(takings).collect();
    (!all.is_empty()).then(|| format!("Taken out again: {}.", all.join("; ")))
}
