//! Cuts the bytes of a stream of server-sent events into events. Pure; follows the HTML standard (WHATWG, section 9.2.6,
//! "Interpreting an event stream") as far as our daemon uses it: `event` and `data`; ids and retry times mean nothing here.

/// Longest event that is taken, in bytes: far above a whole state with a full sheet.
const LONGEST: usize = 4 << 20;

/// An event: its type and its data.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ServerEvent {
    /// Its type; `message` where the stream names none.
    pub kind: String,
    /// Its data.
    pub data: String,
}

/// An event that is longer than is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("an event of the live stream is longer than {LONGEST} bytes; is this a benchscribe?")]
pub struct TooLong;

/// What came of the event that is not yet whole.
#[derive(Debug, Default)]
pub struct EventCutter {
    line: Vec<u8>,
    after_return: bool,
    kind: String,
    data: Vec<String>,
    held: usize,
}

impl EventCutter {
    /// Takes bytes, cut anywhere; gives the events that they make whole.
    ///
    /// # Errors
    /// When an event does not end.
    pub fn take(&mut self, bytes: &[u8]) -> Result<Vec<ServerEvent>, TooLong> {
        let mut events = Vec::new();
        for byte in bytes {
            // A line ends with LF, CR or both.
            match byte {
                b'\n' if std::mem::take(&mut self.after_return) => {}
                b'\n' | b'\r' => {
                    self.after_return = *byte == b'\r';
                    events.extend(self.end_line());
                }
                _ => {
                    self.after_return = false;
                    self.line.push(*byte);
                    self.held += 1;
                    if self.held > LONGEST {
                        return Err(TooLong);
                    }
                }
            }
        }
        Ok(events)
    }

    fn end_line(&mut self) -> Option<ServerEvent> {
        let line = std::mem::take(&mut self.line);
        if line.is_empty() {
            let (kind, data) = (std::mem::take(&mut self.kind), std::mem::take(&mut self.data));
            self.held = 0;
            let kind = if kind.is_empty() { "message".to_owned() } else { kind };
            return (!data.is_empty()).then(|| ServerEvent { kind, data: data.join("\n") });
        }
        let line = String::from_utf8_lossy(&line);
        let (field, value) = line.split_once(':').unwrap_or((&line, ""));
        let value = value.strip_prefix(' ').unwrap_or(value);
        match field {
            "event" => value.clone_into(&mut self.kind),
            "data" => self.data.push(value.to_owned()),
            _ => {}
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(text: &str, piece: usize) -> Vec<(String, String)> {
        let mut cutter = EventCutter::default();
        let pieces = text.as_bytes().chunks(piece);
        pieces.flat_map(|bytes| cutter.take(bytes).unwrap()).map(|event| (event.kind, event.data)).collect()
    }

    /// Examples of the HTML standard, section 9.2.6 (from memory): several lines of data are joined, a line that starts with a
    /// colon is a comment, one space after the colon goes, an event without its empty line at the end is no event.
    #[test]
    fn streams_of_the_standard_are_cut_as_it_says_wherever_the_bytes_are_cut() {
        let message = |data: &str| ("message".to_owned(), data.to_owned());
        for piece in [1, 2, 3, 1000] {
            assert_eq!(cut("data: YHOO\ndata: +2\ndata: 10\n\n", piece), [message("YHOO\n+2\n10")]);
            let stream = ": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third event\n\n";
            assert_eq!(cut(stream, piece), [message("first event"), message("second event"), message(" third event")]);
            assert_eq!(cut("data\n\ndata\ndata\n\ndata:", piece), [message(""), message("\n")]);
            let ours = "event: live\r\ndata: {}\r\n\r\nevent: state\rdata: {\"a\":\"é\"}\r\r";
            let wanted = [("live".to_owned(), "{}".to_owned()), ("state".to_owned(), "{\"a\":\"é\"}".to_owned())];
            assert_eq!(cut(ours, piece), wanted);
        }
    }

    #[test]
    fn an_event_without_end_is_refused_before_memory_is_full() {
        let mut cutter = EventCutter::default();
        let piece = [b'x'; 1 << 16];
        let taken = (0..200).find_map(|_| cutter.take(&piece).err());
        assert_eq!(taken, Some(TooLong));
    }
}
