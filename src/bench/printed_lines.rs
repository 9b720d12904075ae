//! The lines that an instrument sends at one press of its key: which of them is the reading.

use crate::instrument::format::NetGross;
use crate::measurement::printed::PrintWatch;

/// Tells the lines of one print apart: a scale may send gross and net one after the other, and the net one is meant.
#[derive(Debug, Default)]
pub(super) struct PrintedLines {
    last: Option<(f64, NetGross)>,
    sends_net: bool,
}

/// Lines of one print come within this, s.
const ONE_PRINT_S: f64 = 0.5;

impl PrintedLines {
    /// Whether a line only stands beside the one that is meant.
    pub(super) fn is_beside(&mut self, t_s: f64, label: Option<NetGross>, prints: &mut PrintWatch) -> bool {
        let Some(label) = label else { return false };
        let before = self.last.replace((t_s, label)).filter(|(last_s, _)| t_s - last_s < ONE_PRINT_S);
        match (before, label) {
            (Some((_, NetGross::Net)), NetGross::Gross) => self.sends_net = true,
            // What the first gross line began is forgotten; later ones begin nothing.
            (Some((_, NetGross::Gross)), NetGross::Net) if !self.sends_net => {
                self.sends_net = true;
                *prints = PrintWatch::default();
            }
            _ => {}
        }
        self.sends_net && label == NetGross::Gross
    }
}
