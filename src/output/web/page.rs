//! The bench display: one page and its files, all inside the program, so it works with no internet.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::Web;
use super::api::problem;
use super::language;
use crate::output::language::Language;

#[derive(Template)]
#[template(path = "bench.html")]
struct BenchPage<'a> {
    bench_name: &'a str,
    site: &'a str,
    language: Language,
}

impl BenchPage<'_> {
    fn t<'a>(&self, key: &'a str) -> &'a str {
        self.language.word(key)
    }
}

/// The page.
pub(super) async fn bench(State(web): State<Web>) -> Response {
    let page = BenchPage { bench_name: &web.bench, site: &web.site, language: language::current() };
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
    "sheet.css",
    "sheet.js",
    "sound_events.js",
    "sounds.js",
    "stream.js",
    "study.css",
    "study.js",
    "times.js",
    "tokens.css",
    "trace.js",
    "words.js",
];

/// One file of the page.
pub(super) async fn asset(Path(file): Path<String>) -> Response {
    let Some((name, content)) = ASSETS.iter().find(|(name, _)| *name == file) else {
        return problem(StatusCode::NOT_FOUND, "not found", &format!("there is no file {file}"));
    };
    let kind = match name.rsplit_once('.').map(|(_, ending)| ending) {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "text/plain; charset=utf-8",
    };
    // A display must not run last month's script against today's daemon.
    ([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "no-cache")], *content).into_response()
}
