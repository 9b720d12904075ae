//! The pages beside the bench display: made here whole, so that they stand without a script; scripts only refresh them.
//!
//! In reading order: [`parts`] what pages share, [`instruments`] and [`guided`] the instruments with their checks and
//! calibrations, [`records`] and [`reading`] the clubs and the evidence behind them, [`orders`] the queue, [`drawers`] the stock,
//! [`stock`] the numbered parts, [`history`] what finished clubs say, [`studies`] gauge studies,
//! [`set`] the steps through a set, [`plan`] its parts from the stock, [`setup`] the display itself, [`pattern`] every part in every state.

pub(super) mod drawers;
pub(super) mod guided;
pub(super) mod history;
pub(super) mod instruments;
pub(super) mod orders;
mod parts;
pub(super) mod pattern;
pub(super) mod plan;
pub(super) mod reading;
pub(super) mod records;
pub(super) mod set;
pub(super) mod setup;
pub(super) mod stock;
pub(super) mod studies;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use parts::{Html, said};

use super::Web;
use super::api::problem;
use super::bundle;
use super::language;
use super::look::{self, Look};
use crate::output::language::Language;

/// What every page has around it.
#[derive(Debug)]
struct Shell<'a> {
    /// From the page's address up to the root, such as `../`.
    root: &'static str,
    /// Which way of the navigation the page is on.
    way: &'static str,
    bench: &'a str,
    site: &'a str,
    /// The sequence of the last event when the page was made.
    seq: u64,
    language: Language,
    look: Look,
}

impl<'a> Shell<'a> {
    fn new(web: &'a Web, root: &'static str, way: &'static str) -> Self {
        Self {
            root,
            way,
            bench: &web.bench,
            site: &web.site,
            seq: web.snapshots.borrow().seq,
            language: language::current(),
            look: look::current(),
        }
    }

    /// The words of a message key in the display's language.
    fn t<'b>(&self, key: &'b str) -> &'b str {
        self.language.word(key)
    }

    /// The same with values at its places.
    fn with(&self, key: &str, values: &[(&str, &str)]) -> String {
        self.language.with(key, values)
    }

    /// The words of a message key as HTML: what stands between backquotes is code.
    fn rich(&self, key: &str) -> Html {
        Html::with_code(self.language.word(key))
    }

    /// The name with which a file that was put together is asked for.
    fn file(&self, plain: &str) -> &'static str {
        bundle::named(plain)
    }

    fn messages(&self) -> &'static str {
        bundle::messages(self.language)
    }

    /// `page` where the page is on this way of the navigation.
    fn current(&self, way: &str) -> &'static str {
        if self.way == way { "page" } else { "false" }
    }
}

/// A page that says why there is nothing here, and where to go.
#[derive(Template)]
#[template(path = "nothing.html")]
struct Nothing<'a> {
    shell: Shell<'a>,
    title: &'a str,
    words: &'a str,
}

fn nothing(web: &Web, root: &'static str, way: &'static str, status: StatusCode, title: &str, words: &str) -> Response {
    let page = Nothing { shell: Shell::new(web, root, way), title, words };
    (status, show(&page)).into_response()
}

fn stopping(web: &Web, root: &'static str, way: &'static str) -> Response {
    let words = "the bench program is stopping; load the page again when it runs";
    nothing(web, root, way, StatusCode::SERVICE_UNAVAILABLE, "the bench is stopping", words)
}

fn show(page: &impl Template) -> Response {
    match page.render() {
        Ok(html) => axum::response::Html(html).into_response(),
        Err(error) => problem(StatusCode::INTERNAL_SERVER_ERROR, "the page could not be made", &error.to_string()),
    }
}
