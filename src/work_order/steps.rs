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

    /// Whether measurements show that it is done: parts that are weighed, a length, or values within their limits.
    #[must_use]
    pub fn is_proved_by_measuring(self) -> bool {
        match self {
            Self::Prepare | Self::DryFit | Self::Cut | Self::Adjust | Self::FinalCheck => true,
            Self::Bond | Self::Cure | Self::Grip | Self::Rest | Self::HandOver => false,
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
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_steps_lead_from_parts_to_the_player() {
        let stages: Vec<Stage> = Step::ALL.iter().filter_map(|step| step.leaves_at()).collect();
        assert_eq!(Step::ALL.last(), Some(&Step::HandOver));
        assert_eq!(stages, [Stage::Bonded, Stage::Gripped, Stage::Final, Stage::Final]);
    }
}
