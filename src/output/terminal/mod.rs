//! The live view on a terminal, without its terminal: messages of the daemon's stream and the time go in, a drawing comes out.
//!
//! In reading order: [`server_events`] and [`message`] what comes, [`known`] what is known by it, [`scale`] the places on the deviation scale, [`words`],
//! [`parts`] the pieces of the view and [`drawing`] how they share the lines there are. Stream and keys are in `cli::watch`.

pub mod drawing;
pub mod known;
pub mod message;
mod parts;
pub mod scale;
pub mod server_events;
#[cfg(test)]
mod tests;
pub mod words;
