//! The set-up of a display: how large, in which light, language and units, with which sounds. Nothing of it is the daemon's.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::{Shell, show};
use crate::output::language::Language;
use crate::output::web::Web;

#[derive(Template)]
#[template(path = "setup.html")]
struct SetupPage<'a> {
    shell: Shell<'a>,
    languages: [Language; 2],
}

/// The page.
pub(in crate::output::web) async fn page(State(web): State<Web>) -> Response {
    show(&SetupPage { shell: Shell::new(&web, "", "setup"), languages: Language::ALL })
}
