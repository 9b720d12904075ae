//! A plain HTTP/1.0 client: one request a connection, no chunks, any header a test wants to lie about.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

use serde_json::Value;

/// Longest time for one answer.
const ANSWER: Duration = Duration::from_secs(10);

/// An answer.
#[derive(Debug)]
pub(crate) struct Reply {
    /// Status code.
    pub(crate) status: u16,
    /// The head as it came.
    pub(crate) head: String,
    /// The body.
    pub(crate) body: String,
}

impl Reply {
    /// The body as JSON.
    #[track_caller]
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {}", self.body))
    }

    /// Fails unless this is a problem as RFC 9457 defines one (members `type`, `title`, `status`, `detail`; section 3.1).
    #[track_caller]
    pub(crate) fn assert_problem(&self, status: u16, words: &str) {
        assert_eq!(self.status, status, "{self:?}");
        assert!(self.head.to_lowercase().contains("content-type: application/problem+json"), "{self:?}");
        let problem = self.json();
        assert_eq!(problem["status"], status, "{problem}");
        assert!(problem["type"].is_string() && problem["title"].is_string(), "{problem}");
        assert!(problem["detail"].as_str().is_some_and(|detail| detail.contains(words)), "{problem} lacks {words:?}");
    }
}

/// Sends a request; `headers` come on top of, and before, what is needed. An error means that nobody answered.
pub(crate) fn ask(
    address: SocketAddr,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: &str,
) -> std::io::Result<Reply> {
    let mut connection = open(address, method, path, headers, body)?;
    let mut all = Vec::new();
    connection.read_to_end(&mut all)?;
    // A document is not text; its head is.
    let all = String::from_utf8_lossy(&all);
    let (head, body) = all.split_once("\r\n\r\n").ok_or(std::io::ErrorKind::UnexpectedEof)?;
    let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).ok_or(std::io::ErrorKind::InvalidData)?;
    Ok(Reply { status, head: head.to_owned(), body: body.to_owned() })
}

fn open(
    address: SocketAddr,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: &str,
) -> std::io::Result<TcpStream> {
    let mut connection = TcpStream::connect_timeout(&address, ANSWER)?;
    connection.set_read_timeout(Some(ANSWER))?;
    connection.set_nodelay(true)?;
    let mut request = format!("{method} {path} HTTP/1.0\r\n");
    let has = |name: &str| headers.iter().any(|(given, _)| given.eq_ignore_ascii_case(name));
    if !has("host") {
        request += &format!("host: {address}\r\n");
    }
    if !body.is_empty() && !has("content-type") {
        request += "content-type: application/json\r\n";
    }
    for (name, value) in headers {
        request += &format!("{name}: {value}\r\n");
    }
    request += &format!("content-length: {}\r\n\r\n{body}", body.len());
    connection.write_all(request.as_bytes())?;
    Ok(connection)
}

/// The live stream of a page.
#[derive(Debug)]
pub(crate) struct Stream {
    lines: BufReader<TcpStream>,
}

impl Stream {
    /// Opens the stream and reads past its head.
    pub(crate) fn open(address: SocketAddr) -> std::io::Result<Self> {
        let mut lines = BufReader::new(open(address, "GET", "/api/v1/live", &[], "")?);
        let mut line = String::new();
        while lines.read_line(&mut line)? > 0 && line != "\r\n" {
            line.clear();
        }
        Ok(Self { lines })
    }

    /// The data of the next event; `None` when the stream ended or nothing came for long.
    pub(crate) fn next(&mut self) -> Option<Value> {
        self.next_timed().map(|(event, _)| event)
    }

    /// As [`Self::next`], with the instant at which its last byte was there.
    #[expect(clippy::disallowed_methods, reason = "a test measures real time from outside of the daemon")]
    pub(crate) fn next_timed(&mut self) -> Option<(Value, Instant)> {
        let mut line = String::new();
        loop {
            line.clear();
            if self.lines.read_line(&mut line).ok()? == 0 {
                return None;
            }
            let came = Instant::now();
            if let Some(data) = line.strip_prefix("data: ") {
                return serde_json::from_str(data.trim_end()).ok().map(|event| (event, came));
            }
        }
    }
}
