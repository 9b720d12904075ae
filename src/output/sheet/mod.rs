//! Printed build sheets: a page a club (more where it needs them), a page a set, and labels for shafts, as PDF.
//!
//! Records and their orders come in, the bytes of a file leave. Values and verdicts are those of the page; nothing is
//! measured or judged here. A sheet names the hash of the club's last event, and its matrix code leads to the record.
//!
//! In reading order: [`fonts`] and [`canvas`] draw, `marks` has the drawings, `flow` breaks lines and pages, `went_in` and `notes` say
//! what stands there, `club_page`, `set_page` and `label` lay out.

mod canvas;
mod card;
mod club_page;
mod flow;
mod fonts;
mod label;
mod marks;
mod notes;
mod part_label;
mod rows;
mod set_page;
mod went_in;

use jiff::tz::TimeZone;
use krilla::Document;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;

use self::canvas::{Canvas, POINTS_PER_MM};
use self::fonts::Fonts;
use super::part_view::NumberedPartView;
use super::text::Lengths;
use crate::work_order::ticket::Ticket;

pub use self::fonts::FontError;
pub use crate::journal::archive::FoundClub as Subject;

/// Size of the paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// 210 mm × 297 mm (ISO 216).
    A4,
    /// 8.5 in × 11 in.
    Letter,
}

impl Paper {
    /// Width and height in millimetres.
    #[must_use]
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }
}

/// How sheets are printed.
#[derive(Debug, Clone)]
pub struct Print {
    /// The paper.
    pub paper: Paper,
    /// How lengths are shown.
    pub lengths: Lengths,
    /// The bench, in words.
    pub bench: String,
    /// Where other machines reach the page, such as `http://bench.local:7311`; without it codes carry the ticket alone.
    pub url: Option<String>,
    /// When, in microseconds since 1970 UTC.
    pub printed_us: i64,
    /// The time zone of the workshop.
    pub zone: TimeZone,
    /// A further font file for characters that the program's own does not have.
    pub font: Option<Vec<u8>>,
}

impl Print {
    /// What the matrix code of a ticket says: an address that ends with the ticket, so that a telephone opens the record
    /// and the bench's scanner the club; or the ticket alone.
    #[must_use]
    pub fn code(&self, ticket: &Ticket) -> String {
        match &self.url {
            Some(url) => format!("{}/{}", url.trim_end_matches('/'), ticket.code()),
            None => ticket.code(),
        }
    }
}

/// Why there is no sheet.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    /// The further font.
    #[error(transparent)]
    Font(#[from] FontError),
    /// The document.
    #[error("the sheet cannot be made: {0}")]
    Document(String),
}

/// A page for one club, and further ones for what has no room there.
///
/// # Errors
/// When the further font is none.
pub fn club_sheet(subject: &Subject, print: &Print) -> Result<Vec<u8>, SheetError> {
    let title = format!("Build sheet {} {}", subject.club.spec.id, subject.club.spec.name);
    document(title, print, |pages| pages.club(subject, print))
}

/// A page for each set, and one for each of its clubs behind it.
///
/// # Errors
/// When the further font is none.
pub fn set_sheets(subjects: &[Subject], print: &Print) -> Result<Vec<u8>, SheetError> {
    let number = subjects.first().map(|subject| subject.order.number.clone()).unwrap_or_default();
    document(format!("Build sheets {number}"), print, |pages| {
        for set in subjects.chunk_by(|a, b| a.order.number == b.order.number) {
            for part in set.chunks(set_page::CLUBS_ON_A_PAGE) {
                pages.page(print.paper.size_mm(), |canvas| set_page::draw(canvas, part, print));
            }
            for subject in set {
                pages.club(subject, print);
            }
        }
    })
}

/// Labels for shafts, one a page of the label's own size.
///
/// # Errors
/// When the further font is none.
pub fn labels(subjects: &[Subject], print: &Print) -> Result<Vec<u8>, SheetError> {
    document("Shaft labels".to_owned(), print, |pages| {
        for subject in subjects {
            pages.page(label::SIZE_MM, |canvas| label::draw(canvas, subject, print));
        }
    })
}

/// Labels for parts of the stock, one a page of the label's own size.
///
/// # Errors
/// When the document cannot be made.
pub fn part_labels(parts: &[NumberedPartView]) -> Result<Vec<u8>, SheetError> {
    drawn("Labels of parts".to_owned(), None, |pages| {
        for part in parts {
            pages.page(part_label::SIZE_MM, |canvas| part_label::draw(canvas, part));
        }
    })
}

/// Cards for the bench, ten a page.
///
/// # Errors
/// When the document cannot be made.
pub fn cards(tickets: &[Ticket], paper: Paper) -> Result<Vec<u8>, SheetError> {
    drawn("Cards for the bench".to_owned(), None, |pages| {
        for part in tickets.chunks(card::ON_A_PAGE) {
            pages.page(paper.size_mm(), |canvas| card::draw(canvas, paper.size_mm(), part));
        }
    })
}

struct Pages<'a> {
    document: Document,
    fonts: &'a Fonts,
}

impl Pages<'_> {
    /// The page of a club, and further ones where it needs them.
    fn club(&mut self, subject: &Subject, print: &Print) {
        let sheet = club_page::Pages::new(self.fonts, subject, print);
        for number in 0..sheet.count() {
            self.page(print.paper.size_mm(), |canvas| sheet.draw(canvas, number));
        }
    }

    fn page(&mut self, (width, height): (f64, f64), draw: impl FnOnce(&mut Canvas<'_>)) {
        #[expect(clippy::cast_possible_truncation, reason = "sizes of paper")]
        let settings = PageSettings::from_wh((width * POINTS_PER_MM) as f32, (height * POINTS_PER_MM) as f32);
        let Some(settings) = settings else { return };
        let mut page = self.document.start_page_with(settings);
        draw(&mut Canvas::new(page.surface(), self.fonts));
        page.finish();
    }
}

fn document(title: String, print: &Print, draw: impl FnOnce(&mut Pages<'_>)) -> Result<Vec<u8>, SheetError> {
    drawn(title, print.font.as_deref(), draw)
}

fn drawn(title: String, font: Option<&[u8]>, draw: impl FnOnce(&mut Pages<'_>)) -> Result<Vec<u8>, SheetError> {
    let fonts = Fonts::new(font)?;
    let mut pages = Pages { document: Document::new(), fonts: &fonts };
    let creator = format!("benchscribe {}", env!("CARGO_PKG_VERSION"));
    pages.document.set_metadata(Metadata::new().title(title).language("en".to_owned()).creator(creator));
    draw(&mut pages);
    pages.document.finish().map_err(|error| SheetError::Document(format!("{error:?}")))
}
