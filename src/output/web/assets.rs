//! The files of the pages, all inside the program, so that they work with no internet.
//!
//! Pages name what [`super::bundle`] puts together; the single files are served as well, for tests and for looking.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::api::problem;
use super::bundle;
use crate::journal::chain::sha256;

macro_rules! assets {
    ($($name:literal),+ $(,)?) => {
        &[$(($name, include_bytes!(concat!("assets/", $name)).as_slice())),+]
    };
}

/// Every file of the pages.
const ASSETS: &[(&str, &[u8])] = assets![
    "act_panel.js",
    "alive.js",
    "asking.js",
    "banners.js",
    "bench.css",
    "bench_view.js",
    "captures.js",
    "command.js",
    "cut_panel.js",
    "deviation_scale.js",
    "dialogs.css",
    "dialogs.js",
    "display.js",
    "dom.js",
    "drawers.js",
    "drawings.css",
    "far.css",
    "forms.js",
    "glyphs.js",
    "import.js",
    "instruments.js",
    "language.js",
    "later.js",
    "live.css",
    "live_instruments.js",
    "live_panel.js",
    "mark.svg",
    "notices.js",
    "page.js",
    "pages.css",
    "palette.js",
    "parts.js",
    "preferences.js",
    "quantities.js",
    "scale_geometry.js",
    "screen.js",
    "sentences.js",
    "setup.css",
    "setup.js",
    "sheet.css",
    "sheet.js",
    "sound_events.js",
    "sounds.js",
    "stream.js",
    "study.css",
    "times.js",
    "tokens.css",
    "trace.js",
    "who.js",
    "words.js",
];

/// The text of a file; empty where there is none, which no test lets pass.
pub(super) fn source(name: &str) -> &'static str {
    let found = ASSETS.iter().find(|(known, _)| *known == name);
    found.map_or("", |(_, text)| std::str::from_utf8(text).unwrap_or_default())
}

/// What tells one version of a file from another. Weak, because a file goes compressed or not.
static TAGS: LazyLock<BTreeMap<&'static str, String>> = LazyLock::new(|| {
    let tag = |content: &[u8]| format!("W/\"{}\"", sha256(content).chars().take(16).collect::<String>());
    ASSETS.iter().map(|(name, content)| (*name, tag(content))).collect()
});

/// One file; not sent again to a browser that has it.
pub(super) async fn asset(Path(file): Path<String>, headers: HeaderMap) -> Response {
    if let Some(made) = bundle::by_name(&file) {
        return bundled(made, &headers);
    }
    let Some((name, content)) = ASSETS.iter().find(|(name, _)| *name == file) else {
        return problem(StatusCode::NOT_FOUND, "not found", &format!("there is no file {file}"));
    };
    let kind = kind(name);
    // A display must not run last month's script against today's daemon: it asks each time whether its file is still the one.
    let tag = TAGS.get(name).map_or("", String::as_str);
    let of_file = [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-cache"), (header::ETAG, tag)];
    let has_it = headers.get_all(header::IF_NONE_MATCH).iter().any(|known| known.as_bytes() == tag.as_bytes());
    if has_it { (StatusCode::NOT_MODIFIED, of_file).into_response() } else { (of_file, *content).into_response() }
}

fn kind(name: &str) -> &'static str {
    match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "text/plain; charset=utf-8",
    }
}

/// A file that is named by its content: kept for ever, compressed beforehand.
fn bundled(made: &'static bundle::Made, headers: &HeaderMap) -> Response {
    let of_file = [
        (header::CONTENT_TYPE, kind(&made.name)),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
        (header::VARY, "accept-encoding"),
    ];
    let accepted = headers.get_all(header::ACCEPT_ENCODING).iter().filter_map(|value| value.to_str().ok());
    let unpacks = accepted.flat_map(|value| value.split(',')).any(|one| matches!(one.trim(), "gzip" | "*"));
    if unpacks && !made.gzip.is_empty() {
        return (of_file, [(header::CONTENT_ENCODING, "gzip")], made.gzip.as_slice()).into_response();
    }
    (of_file, made.content.as_slice()).into_response()
}
