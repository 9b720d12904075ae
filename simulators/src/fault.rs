//! What can go wrong on a serial line, as a filter between an instrument and its port.
//!
//! Whole frames go in, the bytes a reader gets come out. Pulling the plug and coming back under another name are faults of
//! the port, not of the bytes: the instrument's own loop does those.

use std::str::FromStr;

use crate::chance::Chance;

/// What is wrong with an instrument at present. `share` is the part of the frames that it happens to, 0 to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Fault {
    /// Nothing.
    #[default]
    None,
    /// Frames that never arrive.
    LostFrames {
        /// Part of the frames, 0 to 1.
        share: f64,
    },
    /// Frames that arrive twice.
    DoubledFrames {
        /// Part of the frames, 0 to 1.
        share: f64,
    },
    /// One to eight arbitrary bytes before a frame.
    ForeignBytes {
        /// Part of the frames, 0 to 1.
        share: f64,
    },
    /// One bit of a frame turned over.
    BitFlips {
        /// Part of the frames, 0 to 1.
        share: f64,
    },
    /// Frames that break off, the next one glued to what is left.
    CutFrames {
        /// Part of the frames, 0 to 1.
        share: f64,
    },
    /// The port is there, but nothing comes and nothing is answered.
    Silence,
    /// The port is gone, with its link, until another fault (or none) is set.
    Unplugged,
    /// Once: the port closes and the link leads to a new one under another number; then all is well.
    Renamed,
}

impl Fault {
    /// Adds to `line` what becomes of `frame`.
    pub(crate) fn pass(self, frame: &[u8], chance: &mut Chance, line: &mut Vec<u8>) {
        let mut hit = |share: f64| chance.happens(share);
        match self {
            Self::Silence | Self::Unplugged => {}
            Self::LostFrames { share } if hit(share) => {}
            Self::DoubledFrames { share } if hit(share) => {
                line.extend_from_slice(frame);
                line.extend_from_slice(frame);
            }
            Self::ForeignBytes { share } if hit(share) => {
                for _ in 0..chance.whole(1, 9) {
                    line.push(chance.byte());
                }
                line.extend_from_slice(frame);
            }
            Self::BitFlips { share } if hit(share) => {
                let start = line.len();
                line.extend_from_slice(frame);
                let (place, bit) = (chance.whole(0, frame.len()), chance.whole(0, 8));
                if let Some(byte) = line.get_mut(start + place) {
                    *byte ^= 1 << bit;
                }
            }
            Self::CutFrames { share } if hit(share) => {
                let kept = chance.whole(1, frame.len());
                line.extend_from_slice(frame.get(..kept).unwrap_or_default());
            }
            _ => line.extend_from_slice(frame),
        }
    }
}

/// A fault that cannot be read from what was typed.
#[derive(Debug, thiserror::Error)]
#[error(
    "found {0:?}, expected none, lost, doubled, foreign, flips, cut (these with a share such as 0.1), silence, unplugged or renamed"
)]
pub struct UnknownFault(String);

impl FromStr for Fault {
    type Err = UnknownFault;

    /// Reads `none`, `unplugged`, `lost 0.1`; a share that is left out is 0.1.
    fn from_str(text: &str) -> Result<Self, UnknownFault> {
        let unknown = || UnknownFault(text.to_owned());
        let (name, rest) = text.trim().split_once(char::is_whitespace).unwrap_or((text.trim(), "0.1"));
        let share: f64 = rest.trim().parse().map_err(|_| unknown())?;
        if !(0.0..=1.0).contains(&share) {
            return Err(unknown());
        }
        Ok(match name {
            "none" => Self::None,
            "lost" => Self::LostFrames { share },
            "doubled" => Self::DoubledFrames { share },
            "foreign" => Self::ForeignBytes { share },
            "flips" => Self::BitFlips { share },
            "cut" => Self::CutFrames { share },
            "silence" => Self::Silence,
            "unplugged" => Self::Unplugged,
            "renamed" => Self::Renamed,
            _ => return Err(unknown()),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRAME: &[u8] = b"ST,+00123.45  g\r\n";

    fn passed(fault: Fault) -> Vec<u8> {
        let mut line = Vec::new();
        fault.pass(FRAME, &mut Chance::new(3, 0), &mut line);
        line
    }

    #[test]
    fn each_fault_does_to_a_frame_what_its_name_says() {
        assert_eq!(passed(Fault::None), FRAME);
        assert_eq!(passed(Fault::LostFrames { share: 0.0 }), FRAME);
        assert_eq!(passed(Fault::LostFrames { share: 1.0 }), b"");
        assert_eq!(passed(Fault::DoubledFrames { share: 1.0 }), [FRAME, FRAME].concat());
        assert_eq!(passed(Fault::Silence), b"");

        let foreign = passed(Fault::ForeignBytes { share: 1.0 });
        assert!(foreign.len() > FRAME.len() && foreign.ends_with(FRAME));
        let cut = passed(Fault::CutFrames { share: 1.0 });
        assert!(!cut.is_empty() && cut.len() < FRAME.len() && FRAME.starts_with(&cut));
        let flipped = passed(Fault::BitFlips { share: 1.0 });
        let changed: u32 = flipped.iter().zip(FRAME).map(|(got, sent)| (got ^ sent).count_ones()).sum();
        assert_eq!((flipped.len(), changed), (FRAME.len(), 1));
    }

    #[test]
    fn half_the_frames_are_lost_when_the_share_is_a_half() {
        let (mut chance, mut line) = (Chance::new(5, 0), Vec::new());
        for _ in 0..2000 {
            Fault::LostFrames { share: 0.5 }.pass(b"x", &mut chance, &mut line);
        }
        // Binomial: 1000 expected, standard deviation sqrt(2000 / 4) = 22; five of them allowed.
        assert!((890..=1110).contains(&line.len()), "{}", line.len());
    }

    #[test]
    fn faults_are_read_from_what_a_person_types() {
        assert_eq!("lost 0.25".parse::<Fault>().unwrap(), Fault::LostFrames { share: 0.25 });
        assert_eq!(" unplugged ".parse::<Fault>().unwrap(), Fault::Unplugged);
        for wrong in ["", "lost 2", "cut x", "melted"] {
            assert!(wrong.parse::<Fault>().is_err(), "{wrong}");
        }
    }
}
