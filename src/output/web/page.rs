//! The bench display: the page with the moment at which it was made already in it.

use std::iter;

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::Web;
use super::api::problem;
use super::assets;
use super::bundle;
use super::first::{First, Words};
use super::guard::policy_with;
use super::language;
use super::look::{self, Look};
use super::units;
use crate::output::language::Language;

#[derive(Template)]
#[template(path = "bench.html")]
struct BenchPage<'a> {
    bench_name: &'a str,
    site: &'a str,
    language: Language,
    first: First,
    look: Look,
    /// The sizes measured on the display, as a style sheet.
    sizes: Option<String>,
}

/// The sign of a verdict, as on the pages beside.
#[derive(Template)]
#[template(path = "parts/glyph.html")]
struct Glyph {
    code: &'static str,
}

impl BenchPage<'_> {
    fn glyph(code: &'static str) -> Glyph {
        Glyph { code }
    }

    fn t<'a>(&self, key: &'a str) -> &'a str {
        self.language.word(key)
    }

    /// The name with which a file that was put together is asked for.
    fn file(&self, plain: &str) -> &'static str {
        bundle::named(plain)
    }

    /// The style sheet, in the page itself: a picture that waits for a second file comes later.
    fn style() -> &'static str {
        bundle::text("bench.css")
    }

    /// The script that fetches the others.
    fn later() -> &'static str {
        assets::source("later.js")
    }

    fn messages(&self) -> &'static str {
        bundle::messages(self.language)
    }
}

/// The page. Nobody keeps it: what it shows is true at the moment it is made.
pub(super) async fn bench(State(web): State<Web>) -> Response {
    let language = language::current();
    let words = Words { language, units: units::current() };
    let first = First::of(&web.snapshots.borrow().clone(), web.clock.now(), words);
    let look = look::current();
    let page = BenchPage { bench_name: &web.bench, site: &web.site, language, first, look, sizes: look.style() };
    let styles: Vec<&str> = iter::once(BenchPage::style()).chain(page.sizes.as_deref()).collect();
    let policy = policy_with(&styles, BenchPage::later());
    match page.render() {
        Ok(html) => {
            let told = [(header::CACHE_CONTROL, "no-store"), (header::CONTENT_SECURITY_POLICY, policy.as_str())];
            (told, Html(html)).into_response()
        }
        Err(error) => problem(StatusCode::INTERNAL_SERVER_ERROR, "the page could not be made", &error.to_string()),
    }
}
