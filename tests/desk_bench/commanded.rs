//! A bench in the process with all that it has stored, given one command after the other.

use std::collections::BTreeMap;

use benchscribe::config::named_files::NamedFiles;
use benchscribe::work_order::state::State;
use serde_json::{Value, json};

use super::{CONFIG, DeskBench, Stored};

/// What test programs call their bench; what only one of them asks of it stands there.
pub(crate) struct Commanded {
    pub(crate) bench: DeskBench,
    pub(crate) stored: Stored,
}

impl Commanded {
    /// With one order, open.
    pub(crate) fn with_order(order: &str) -> Self {
        Self::with(DeskBench::new(CONFIG), order)
    }

    /// The same with a kit in the drawers.
    pub(crate) fn with_kit(kit: &str, order: &str) -> Self {
        let files = NamedFiles::kept(BTreeMap::from([("kit.toml".to_owned(), kit.to_owned())]));
        Self::with(DeskBench::with_files(&format!("kits = [\"kit.toml\"]\n{CONFIG}"), &files, State::default()), order)
    }

    fn with(mut bench: DeskBench, order: &str) -> Self {
        let stored = bench.begin();
        let mut this = Self { bench, stored };
        this.brings(order);
        this
    }

    /// An order comes in and is opened.
    #[track_caller]
    pub(crate) fn brings(&mut self, order: &str) {
        self.does(json!({"command": "import_order", "text": order}));
        let number = order.split('"').nth(1).unwrap();
        self.does(json!({"command": "open_order", "order": number}));
    }

    #[track_caller]
    pub(crate) fn does(&mut self, command: Value) {
        self.bench.command(command.clone(), &mut self.stored).unwrap_or_else(|words| panic!("{command}: {words}"));
    }

    /// The words of a refusal, which stores nothing.
    #[track_caller]
    pub(crate) fn refuses(&mut self, command: Value) -> String {
        let before = self.stored.events.len();
        let words = self.bench.command(command, &mut self.stored).unwrap_err();
        assert_eq!(self.stored.events.len(), before, "a refusal stores nothing");
        words
    }

    #[track_caller]
    pub(crate) fn scan(&mut self, code: &str) {
        self.does(json!({"command": "scan", "code": code}));
    }

    #[track_caller]
    pub(crate) fn steps(&mut self, steps: &[&str]) {
        steps.iter().for_each(|step| self.does(json!({"command": "step_done", "step": step})));
    }

    /// Values of the open club, typed.
    #[track_caller]
    pub(crate) fn enters(&mut self, values: &[(&str, &str)]) {
        for (characteristic, quantity) in values {
            self.does(json!({"command": "enter", "characteristic": characteristic, "quantity": quantity}));
        }
    }
}
