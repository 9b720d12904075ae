//! The steps of building a club, and the stage each one leaves it at.

use super::order::Stage;

super::order::named!(
    /// One step of the build, in the order of the work.
    Step {
        /// Parts are picked and weighed, tip and hosel are prepared.
        Prepare = "prepare",
        /// The club is laid together without adhesive.
        DryFit = "dry_fit",
        /// Head and shaft are bonded.
        Bond = "bond",
        /// The adhesive cures.
        Cure = "cure",
        /// The shaft is cut to length.
        Cut = "cut",
        /// The grip is put on.
        Grip = "grip",
        /// The grip rests.
        Rest = "rest",
        /// Swing weight, loft and lie are brought to target.
        Adjust = "adjust",
        /// Everything is measured once more.
        FinalCheck = "final_check",
        /// The club goes to the player.
        HandOver = "hand_over",
    }
);

impl Step {
    /// The words a person reads.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Prepare => "prepare the parts",
            Self::DryFit => "dry fit",
            Self::Bond => "bond head and shaft",
            Self::Cure => "let it cure",
            Self::Cut => "cut to length",
            Self::Grip => "put the grip on",
            Self::Rest => "let the grip rest",
            Self::Adjust => "adjust",
            Self::FinalCheck => "final check",
            Self::HandOver => "hand over",
        }
    }

    /// The stage a club is at once this step is done; `None` where the step does not change it.
    #[must_use]
    pub fn leaves_at(self) -> Option<Stage> {
        match self {
            Self::Bond => Some(Stage::Bonded),
            Self::Grip => Some(Stage::Gripped),
            Self::Adjust | Self::FinalCheck => Some(Stage::Final),
            _ => None,
        }
    }

    /// The step that usually follows.
    #[must_use]
    pub fn next(self) -> Option<Self> {
        Self::ALL.iter().copied().find(|step| *step > self)
    }

    /// The usual cautions of the step. The maker's data sheet, local codes and licensed practice come first.
    #[must_use]
    pub fn cautions(self) -> &'static [&'static str] {
        match self {
            Self::Prepare => &[
                "Grinding and abrading graphite or steel: eye protection, dust mask and extraction; fibres irritate skin and lungs.",
            ],
            Self::Bond => &[
                "Adhesive: gloves and fresh air; working life, cure and first aid are on the maker's data sheet.",
                "Heat guns and hot hosels burn; keep solvent away from heat.",
            ],
            Self::Cure => &["Do not swing or flex the club before the adhesive maker's cure time is over."],
            Self::Cut => &[
                "Cutting: eye protection, dust mask, clamp the shaft; deburr the edge. A cut cannot be taken back.",
                "Graphite: dust and fibres irritate skin, eyes and lungs and carry current: extraction or a wet cut, gloves, no compressed air.",
            ],
            Self::Grip => &["Grip solvent is flammable: fresh air, no heat, no sparks; follow its data sheet."],
            Self::Adjust => &[
                "Bending: heads can crack or break; eye protection, small steps, never beyond the head maker's limit.",
            ],
            _ => &[],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steps_lead_from_parts_to_the_player() {
        let mut step = Step::Prepare;
        let mut stages = Vec::new();
        while let Some(next) = step.next() {
            stages.extend(next.leaves_at());
            step = next;
        }
        assert_eq!(step, Step::HandOver);
        assert_eq!(stages, [Stage::Bonded, Stage::Gripped, Stage::Final, Stage::Final]);
    }
}
