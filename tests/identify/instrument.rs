//! An instrument on a simulated line, and a search that listens to it.

use std::time::Duration;

use benchscribe::instrument::format::LineSettings;
use benchscribe::instrument::identify::built_in_variants;
use benchscribe::instrument::search::{Finding, Search, Step};

use super::uart::{Damaged, Receiver, Wire};

/// When an instrument sends.
pub(crate) enum Manner {
    Streaming { every_s: f64 },
    OnKey { every_s: f64 },
    Polled(Vec<u8>),
}

pub(crate) struct Instrument {
    pub(crate) line: LineSettings,
    /// What it sends, one after the other, round and round.
    pub(crate) frames: Vec<Vec<u8>>,
    pub(crate) manner: Manner,
}

/// How long an adapter keeps bytes before it hands them on, in seconds: the usual latency timer.
const LATENCY_S: f64 = 0.016;
/// How long an instrument takes to answer, in seconds.
const THINKING_S: f64 = 0.03;

/// What a search says after at most `seconds` of simulated time.
pub(crate) fn identified(instrument: &Instrument, damaged: Damaged, seconds: f64) -> Finding {
    let mut search = Search::new(built_in_variants().to_vec(), 0.0, seconds);
    let (mut to_us, mut from_us) = (Wire::default(), Wire::default());
    let mut frames = instrument.frames.iter().cycle();
    if let Manner::Streaming { every_s } | Manner::OnKey { every_s } = instrument.manner {
        // Began long before, so that the search starts in the middle of a frame.
        let (mut at_s, start_s) = (0.0, if every_s > 0.5 { 0.4 } else { 0.0 });
        while at_s < seconds + 1.0 {
            let done_s = to_us.send(start_s + at_s, frames.next().unwrap(), instrument.line);
            at_s = (at_s + every_s).max(done_s - start_s + 0.3 * every_s);
        }
    }
    let mut ours = Receiver::new(search.first_line(), damaged, 0.0037);
    let mut theirs = Receiver::new(instrument.line, Damaged::Dropped, 0.0);
    let (mut t_s, mut heard, mut asked) = (0.0037, Vec::new(), Vec::new());
    let mut waiting: Vec<(f64, u8)> = Vec::new();
    loop {
        let step = search.step(t_s, &std::mem::take(&mut heard));
        match step {
            Step::Set(line) => {
                t_s += 0.004;
                ours = Receiver::new(line, damaged, t_s);
                waiting.clear();
            }
            Step::Ask(bytes) => {
                let sent_s = from_us.send(t_s, &bytes, ours.line);
                t_s += 0.001;
                if let Manner::Polled(request) = &instrument.manner {
                    for (came_s, byte) in theirs.receive(&from_us, sent_s + 1.0) {
                        asked.push(byte);
                        if asked.ends_with(request) {
                            asked.clear();
                            to_us.send(came_s + THINKING_S, frames.next().unwrap(), instrument.line);
                        }
                    }
                }
            }
            Step::Listen(longest) => {
                let until_s = t_s + longest.max(Duration::from_micros(100)).as_secs_f64();
                waiting.extend(ours.receive(&to_us, until_s));
                // The first byte that is handed on brings those that came while the adapter waited.
                let handed_s = waiting.first().map(|(came_s, _)| (came_s + LATENCY_S).max(t_s));
                match handed_s.filter(|handed_s| *handed_s <= until_s) {
                    Some(handed_s) => {
                        let count = waiting.partition_point(|(came_s, _)| *came_s <= handed_s);
                        heard = waiting.drain(..count).map(|(_, byte)| byte).collect();
                        t_s = handed_s;
                    }
                    None => t_s = until_s,
                }
            }
            Step::Finished => return search.finding(t_s),
        }
    }
}
