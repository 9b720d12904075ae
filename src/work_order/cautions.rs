//! What can hurt at a step of the work.
//!
//! Reminders of common practice, without numbers on purpose: the maker's data sheet, local codes and licensed practice
//! come first and know the limits.

use super::order::{ClubKind, ClubSpec, WorkKind};
use super::steps::Step;

super::order::named!(
    /// Something that can hurt.
    Caution {
        /// Heat guns, hot hosels, hot tools.
        HotTooling = "hot_tooling",
        /// Fumes of heated epoxy, finish and shaft.
        Fumes = "fumes",
        /// Grip solvent.
        SolventNearHeat = "solvent_near_heat",
        /// Grinding dust and graphite fibres.
        DustAndFibres = "dust_and_fibres",
        /// Adhesive on skin and in the air.
        Adhesive = "adhesive",
        /// A club that is not cured.
        NotCured = "not_cured",
        /// Saws and cutting wheels.
        Cutting = "cutting",
        /// Heads that break while they are bent.
        Bending = "bending",
    }
);

impl Caution {
    /// The words a person reads.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::HotTooling => "Heat guns and hot hosels burn: gloves, eye protection, never left alone.",
            Self::Fumes => "Heated adhesive and finish give off fumes: fresh air or extraction.",
            Self::SolventNearHeat => "Grip solvent is flammable: keep it from heat, sparks and hot tools; fresh air.",
            Self::DustAndFibres => {
                "Grinding or cutting graphite or steel: eye protection, dust mask, gloves, extraction or wet work, no compressed air; fibres irritate skin, eyes and lungs and carry current."
            }
            Self::Adhesive => {
                "Adhesive: gloves and fresh air; working life, cure and first aid are on the maker's data sheet."
            }
            Self::NotCured => "Do not swing or flex the club before the adhesive maker's time is over.",
            Self::Cutting => {
                "Cutting: eye protection, dust mask, clamp the shaft; deburr the edge. A cut cannot be taken back."
            }
            Self::Bending => {
                "Bending: heads can crack or break; eye protection, small steps, never beyond the head maker's limit."
            }
        }
    }
}

impl Caution {
    /// The same in a few words, for a glance; never without what protects.
    #[must_use]
    pub fn short(self) -> &'static str {
        match self {
            Self::HotTooling => "Heat burns: gloves, eye protection",
            Self::Fumes => "Fumes: fresh air or extraction",
            Self::SolventNearHeat => "Solvent is flammable: no heat, no sparks",
            Self::DustAndFibres => "Dust and fibres: eye protection, mask, gloves, extraction",
            Self::Adhesive => "Adhesive: gloves, fresh air",
            Self::NotCured => "Not cured: do not swing or flex",
            Self::Cutting => "Cutting: eye protection, mask, clamp the shaft",
            Self::Bending => "Bending: heads can break; eye protection, small steps",
        }
    }
}

/// What can hurt at a step of this club's work.
#[must_use]
pub fn cautions(step: Step, club: &ClubSpec) -> &'static [Caution] {
    of(step, club.work, club.kind)
}

fn of(step: Step, work: WorkKind, kind: ClubKind) -> &'static [Caution] {
    match (step, work) {
        // The old shaft is pulled with heat.
        (Step::Prepare, WorkKind::Reshaft) => {
            &[Caution::HotTooling, Caution::Fumes, Caution::SolventNearHeat, Caution::DustAndFibres]
        }
        // The old grip is cut off, and solvent frees the tape.
        (Step::Prepare, WorkKind::Regrip | WorkKind::ReLength) => &[Caution::Cutting, Caution::SolventNearHeat],
        (Step::Prepare, WorkKind::Build | WorkKind::LoftLie) => &[Caution::DustAndFibres],
        (Step::Bond, _) => &[Caution::Adhesive, Caution::HotTooling, Caution::SolventNearHeat],
        (Step::Cure, _) => &[Caution::NotCured],
        (Step::Cut, _) => &[Caution::Cutting, Caution::DustAndFibres],
        (Step::Grip, _) => &[Caution::SolventNearHeat],
        // Woods are brought to their angles by a sleeve, if at all, unless an order asks for just that.
        (Step::Adjust, WorkKind::LoftLie) => &[Caution::Bending],
        (Step::Adjust, _) if matches!(kind, ClubKind::Driver | ClubKind::Fairway) => &[],
        (Step::Adjust, _) => &[Caution::Bending],
        (Step::DryFit | Step::Rest | Step::FinalCheck | Step::HandOver, _) => &[],
    }
}

/// The same as the words a person reads.
#[must_use]
pub fn words(step: Step, club: &ClubSpec) -> Vec<&'static str> {
    cautions(step, club).iter().map(|caution| caution.words()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_caution_is_shown_at_some_step_of_some_work() {
        let shown: Vec<Caution> = WorkKind::ALL
            .iter()
            .flat_map(|work| work.usual_route().iter().flat_map(|step| of(*step, *work, ClubKind::Iron)))
            .copied()
            .collect();
        for caution in Caution::ALL {
            assert!(shown.contains(caution), "{}", caution.name());
        }
    }

    #[test]
    fn bending_is_warned_of_where_something_is_bent() {
        let warned = |work, kind| of(Step::Adjust, work, kind).contains(&Caution::Bending);
        assert!(warned(WorkKind::Build, ClubKind::Iron) && warned(WorkKind::LoftLie, ClubKind::Driver));
        assert!(!warned(WorkKind::Build, ClubKind::Driver) && !warned(WorkKind::Reshaft, ClubKind::Fairway));
    }
}
