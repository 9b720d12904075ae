//! Files that a configuration names, such as a wire format of the user's own: read while the configuration is, and
//! kept with it, so that a recording holds everything its session was set up with.
//!
//! Reading itself is done by a function that the command line gives: nothing here touches a disk.

use std::cell::RefCell;
use std::collections::BTreeMap;

use super::document::Section;

/// Longest text that is taken from a named file, in bytes.
const LONGEST: usize = 1 << 20;

/// Gives the text of a file by the name that stands in the configuration, or says why not.
type Read<'a> = Box<dyn Fn(&str) -> Result<String, String> + 'a>;

/// The way to the named files, and what was read.
pub struct NamedFiles<'a> {
    read: Read<'a>,
    texts: RefCell<BTreeMap<String, String>>,
}

impl<'a> NamedFiles<'a> {
    /// Files read by this function.
    pub fn new(read: impl Fn(&str) -> Result<String, String> + 'a) -> Self {
        Self { read: Box::new(read), texts: RefCell::default() }
    }

    /// No files: each one that is named is a mistake.
    #[must_use]
    pub fn none() -> Self {
        Self::new(|_| Err("no other file can be named here".to_owned()))
    }

    /// The files as they were once read, by name.
    #[must_use]
    pub fn kept(texts: BTreeMap<String, String>) -> Self {
        Self::new(move |name| texts.get(name).cloned().ok_or_else(|| "was not kept with the configuration".to_owned()))
    }

    /// The text of the file behind this key; a mistake where it cannot be had.
    pub(super) fn text(&self, section: &Section<'_>, key: &'static str) -> Option<(String, String)> {
        self.named(section, key, section.text(key)?)
    }

    /// The texts of the files that a list behind this key names; a mistake for each that cannot be had.
    pub(super) fn texts_of(&self, section: &Section<'_>, key: &'static str) -> Vec<(String, String)> {
        let names = section.texts(key).unwrap_or_default();
        names.into_iter().filter_map(|name| self.named(section, key, name)).collect()
    }

    fn named(&self, section: &Section<'_>, key: &'static str, name: &str) -> Option<(String, String)> {
        match (self.read)(name) {
            Ok(text) if text.len() <= LONGEST => {
                self.texts.borrow_mut().insert(name.to_owned(), text.clone());
                Some((name.to_owned(), text))
            }
            Ok(text) => {
                section.mistake(key, format!("{name} has {} bytes, expected at most {LONGEST}", text.len()));
                None
            }
            Err(reason) => {
                section.mistake(key, reason);
                None
            }
        }
    }

    /// Everything that was read, by name.
    #[must_use]
    pub(super) fn texts(&self) -> BTreeMap<String, String> {
        self.texts.borrow().clone()
    }
}
