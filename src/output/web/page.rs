//! The bench display: one page and its files, all inside the program, so it works with no internet.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::Web;
use super::api::problem;
use super::language;
use crate::journal::chain::sha256;
use crate::output::language::Language;

#[derive(Template)]
#[template(path = "bench.html")]
struct BenchPage<'a> {
    bench_name: &'a str,
    site: &'a str,
    language: Language,
    /// Every script of the page, so that the browser asks for all of them at once.
    scripts: &'static [&'static str],
}

impl BenchPage<'_> {
    fn t<'a>(&self, key: &'a str) -> &'a str {
        self.language.word(key)
    }
}

/// The page.
pub(super) async fn bench(State(web): State<Web>) -> Response {
    let page =
        BenchPage { bench_name: &web.bench, site: &web.site, language: language::current(), scripts: &BENCH_SCRIPTS };
    match page.render() {
        Ok(html) => Html(html).into_response(),
        Err(error) => problem(StatusCode::INTERNAL_SERVER_ERROR, "the page could not be made", &error.to_string()),
    }
}

macro_rules! assets {
    ($($name:literal),+ $(,)?) => {
        &[$(($name, include_bytes!(concat!("assets/", $name)).as_slice())),+]
    };
}

/// Every file of the page.
const ASSETS: &[(&str, &[u8])] = assets![
    "act_panel.js",
    "alive.js",
    "asking.js",
    "banners.js",
    "bench.css",
    "bench.js",
    "bench_view.js",
    "captures.js",
    "command.js",
    "cut_panel.js",
    "deviation_scale.js",
    "dialogs.css",
    "dialogs.js",
    "dom.js",
    "drawers.js",
    "drawings.css",
    "far.css",
    "forms.js",
    "glyphs.js",
    "import.js",
    "instruments.js",
    "language.js",
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
    "shown_units.js",
    "sheet.css",
    "sheet.js",
    "sound_events.js",
    "sounds.js",
    "stream.js",
    "study.css",
    "times.js",
    "tokens.css",
    "trace.js",
    "words.js",
];

/// The scripts that the bench display's own script imports, and what they import.
static BENCH_SCRIPTS: LazyLock<Vec<&'static str>> = LazyLock::new(|| {
    let mut found = vec!["bench.js"];
    let mut at = 0;
    while let Some(name) = found.get(at) {
        let text = ASSETS
            .iter()
            .find(|(known, _)| known == name)
            .map_or("", |(_, text)| std::str::from_utf8(text).unwrap_or_default());
        let imported = text.split("from \"./").skip(1).filter_map(|rest| rest.split_once('"')).map(|(file, _)| file);
        for file in imported {
            if !found.contains(&file) {
                found.push(file);
            }
        }
        at += 1;
    }
    found
});

/// What tells one version of a file from another. Weak, because a file goes compressed or not.
static TAGS: LazyLock<BTreeMap<&'static str, String>> = LazyLock::new(|| {
    let tag = |content: &[u8]| format!("W/\"{}\"", sha256(content).chars().take(16).collect::<String>());
    ASSETS.iter().map(|(name, content)| (*name, tag(content))).collect()
});

/// One file of the page; not sent again to a browser that has it.
pub(super) async fn asset(Path(file): Path<String>, headers: HeaderMap) -> Response {
    let Some((name, content)) = ASSETS.iter().find(|(name, _)| *name == file) else {
        return problem(StatusCode::NOT_FOUND, "not found", &format!("there is no file {file}"));
    };
    let kind = match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "text/plain; charset=utf-8",
    };
    // A display must not run last month's script against today's daemon: it asks each time whether its file is still the one.
    let tag = TAGS.get(name).map_or("", String::as_str);
    let of_file = [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-cache"), (header::ETAG, tag)];
    let has_it = headers.get_all(header::IF_NONE_MATCH).iter().any(|known| known.as_bytes() == tag.as_bytes());
    if has_it { (StatusCode::NOT_MODIFIED, of_file).into_response() } else { (of_file, *content).into_response() }
}
