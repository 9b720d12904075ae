//! The values of a club as they stand on paper: what counts for the club as it is handed over, and beside it, marked, what was
//! only measured on the way.

use crate::club::characteristic::Characteristic;
use crate::output::text::{self, Lengths};
use crate::output::work_view::{self, CharacteristicView};
use crate::work_order::order::{Stage, WorkKind};
use crate::work_order::record::{ClubRecord, Entry, Outdated, Standing};

/// A value that says nothing of the club as it is handed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct OnTheWay {
    /// The value.
    pub(super) text: String,
    /// Why it does not count.
    pub(super) why: &'static str,
}

/// A characteristic on paper.
#[derive(Debug, Clone)]
pub(super) struct Row {
    /// What counts; without a value where none does.
    pub(super) view: CharacteristicView,
    /// The newest value, where none counts.
    pub(super) on_the_way: Option<OnTheWay>,
    /// How it came in, of a club in repair.
    pub(super) received: Option<String>,
}

/// Whether a club came in for repair, so that what was received stands beside what is left.
pub(super) fn is_repair(club: &ClubRecord) -> bool {
    club.spec.work != WorkKind::Build
}

/// The characteristics of a club, in the order of the work.
pub(super) fn rows(club: &ClubRecord, lengths: Lengths) -> Vec<Row> {
    let views = work_view::club(club, lengths).characteristics;
    views.into_iter().map(|view| row(club, view, lengths)).collect()
}

fn row(club: &ClubRecord, view: CharacteristicView, lengths: Lengths) -> Row {
    let Some(of) = Characteristic::parse(view.characteristic) else {
        return Row { view, on_the_way: None, received: None };
    };
    let is_received = |entry: &&Entry| entry.filed.stage == Stage::Received && entry.filed.characteristic == of;
    let received = club.valid().rfind(is_received).map(|entry| text::value(of, entry.filed.value, lengths));
    let shown = club.latest(of).filter(|_| club.standing(of).is_none());
    let Some(entry) = shown else { return Row { view, on_the_way: None, received } };
    // What came in has a column of its own.
    let on_the_way = (entry.filed.stage != Stage::Received)
        .then(|| OnTheWay { text: text::value(of, entry.filed.value, lengths), why: why(club, entry) });
    let view = CharacteristicView {
        value: None,
        text: None,
        u: None,
        deviation: None,
        deviation_text: None,
        verdict: None,
        marginal: false,
        instrument: None,
        ..view
    };
    Row { view, on_the_way, received }
}

fn why(club: &ClubRecord, entry: &Entry) -> &'static str {
    match (club.outdated(entry), entry.filed.stage) {
        (Some(Outdated::Bent), _) => "before it was bent",
        (Some(Outdated::LaterFace), _) => "with another face angle",
        (None, Stage::DryFit) => "at the dry fit",
        (None, Stage::Bonded) => "without its grip",
        (None, _) => "on the way",
    }
}

/// Values that do not count any more, oldest first, each with what became of it.
pub(super) fn earlier_values(club: &ClubRecord, lengths: Lengths) -> Vec<String> {
    let gone = club.entries.iter().enumerate().filter(|(_, entry)| entry.standing != Standing::Valid);
    let words = |(index, entry): (usize, &Entry)| {
        let filed = &entry.filed;
        let shown = |entry: &Entry| text::value(entry.filed.characteristic, entry.filed.value, lengths);
        let became = match entry.standing {
            Standing::Voided => match club.voids.iter().rfind(|void| void.event == entry.event) {
                Some(void) => format!("taken back: {}", void.why),
                None => "filed elsewhere".to_owned(),
            },
            _ => {
                let newer = club.entries.iter().skip(index + 1).find(|later| {
                    later.standing != Standing::Voided
                        && later.filed.characteristic == filed.characteristic
                        && later.filed.stage == filed.stage
                        && later.method.name() == entry.method.name()
                });
                let how = if club.is_misread(entry) { "corrected to" } else { "measured again:" };
                newer.map(|newer| format!("{how} {}", shown(newer))).unwrap_or_default()
            }
        };
        format!("{} {} ({became})", filed.characteristic.label(), shown(entry))
    };
    gone.map(words).collect()
}
