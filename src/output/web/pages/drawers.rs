//! The drawers: what is in them, what is low, and the commands that take, put back, count and refill.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::parts::{here, said_text};
use super::{Shell, show, stopping};
use crate::output::command::ask;
use crate::output::drawer_view::{ConsumptionView, PartView, StockView, consumption, stock};
use crate::output::web::Web;
use crate::work_order::state::State as BenchState;

#[derive(Template)]
#[template(path = "drawers.html")]
struct DrawersPage<'a> {
    shell: Shell<'a>,
    chest: &'a Chest,
}

/// The drawers and the club that parts are taken for.
struct Chest {
    stock: Vec<StockView>,
    /// Places for weights and tape by their names, with their words.
    places: Vec<(String, String)>,
    club: Option<OpenClub>,
}

struct OpenClub {
    id: String,
    name: String,
    /// Newest first.
    taken: Vec<ConsumptionView>,
}

impl Chest {
    fn of(state: &BenchState) -> Self {
        let club = state.club().map(|record| OpenClub {
            id: record.spec.id.clone(),
            name: record.spec.name.clone(),
            taken: consumption(record).into_iter().rev().collect(),
        });
        let places = state.drawer_stock.drawers.places.iter();
        Self {
            stock: stock(state),
            places: places.map(|place| (place.name.clone(), place.label.clone())).collect(),
            club,
        }
    }

    fn low(&self) -> impl Iterator<Item = &StockView> {
        self.stock.iter().filter(|line| line.is_low)
    }

    /// The words of the places that a part fits.
    fn places_of(&self, line: &StockView) -> String {
        let words = |name: &String| {
            let known = self.places.iter().find(|(known, _)| known == name);
            known.map_or_else(|| name.clone(), |(_, label)| said_text(label))
        };
        line.places.iter().map(words).collect::<Vec<_>>().join(", ")
    }
}

impl DrawersPage<'_> {
    /// Words of a message with one value in its place.
    fn with(&self, key: &str, place: &str, value: &str) -> String {
        self.shell.t(key).replace(&format!("{{{place}}}"), value)
    }

    fn model_words(&self, model: &str) -> String {
        self.with("drawers.model", "model", model)
    }

    fn low_words(&self, line: &StockView) -> String {
        self.with("drawers.low", "n", &line.low_at.to_string())
    }

    fn pieces_of(&self, line: &StockView) -> String {
        self.with("drawers.pieces_of", "item", &line.item)
    }

    fn for_club(&self, club: &OpenClub) -> String {
        self.with("drawers.for_club", "name", &club.name).replace("{club}", &club.id)
    }

    fn returned_words(&self, why: &str) -> String {
        self.with("drawers.was_returned", "why", why)
    }
}

/// The message key of the kind of a part.
fn kind_key(line: &StockView) -> &'static str {
    match line.kind {
        "weight" => "code.weight",
        "tape" => "code.tape",
        "grip" => "code.grip",
        "head" => "code.head",
        "shaft" => "code.shaft",
        other => other,
    }
}

/// A mass as the drawers know it, to a hundredth of a gram.
fn grams(mass_g: f64) -> String {
    format!("{mass_g:.2} g")
}

fn taken(parts: &[PartView]) -> String {
    let words = parts.iter().map(|part| match part.pieces {
        1 => part.item.clone(),
        pieces => format!("{pieces} × {}", part.item),
    });
    words.collect::<Vec<_>>().join(" + ")
}

/// The page.
pub(in crate::output::web) async fn page(State(web): State<Web>) -> Response {
    match ask(&web.questions, Chest::of).await {
        Some(chest) => show(&DrawersPage { shell: Shell::new(&web, "", "drawers"), chest: &chest }),
        None => stopping(&web, "", "drawers"),
    }
}
