//! The inputs of a request, read by key, and the result that goes out.
//!
//! JSON comes in, checked numbers and text go out; every refusal names the key and what would do. No mathematics.

use serde_json::{Map, Value};

/// Why a request has no answer.
#[derive(Debug, thiserror::Error)]
pub(super) enum RequestError {
    /// The line is not JSON.
    #[error("the request is not JSON: {0}")]
    NotJson(String),
    /// A kind nobody answers.
    #[error("kind is \"{found}\", expected one of: {known}")]
    UnknownKind {
        /// Kind asked for.
        found: String,
        /// Kinds there are.
        known: String,
    },
    /// A key is not there.
    #[error("{0} is missing")]
    Missing(String),
    /// A key holds something else than it should.
    #[error("{key} is {found}, expected {expected}")]
    Wrong {
        /// Key with its path.
        key: String,
        /// What was found.
        found: String,
        /// What would do.
        expected: String,
    },
    /// Inputs are well formed and have no answer.
    #[error("{0}")]
    Unanswerable(String),
}

impl RequestError {
    /// A key that holds something else than it should.
    pub(super) fn wrong(key: &str, found: &Value, expected: &str) -> Self {
        let text = found.to_string();
        // A whole list would bury the message.
        let short: String = text.chars().take(60).collect();
        let found = if short.len() < text.len() { format!("{short}…") } else { short };
        Self::Wrong { key: key.to_owned(), found, expected: expected.to_owned() }
    }

    /// Inputs without an answer, for any error that explains itself.
    pub(super) fn unanswerable(error: impl std::fmt::Display) -> Self {
        Self::Unanswerable(error.to_string())
    }
}

/// An object of the request and where it stands.
pub(super) struct Inputs<'a> {
    fields: &'a Map<String, Value>,
    path: String,
}

impl<'a> Inputs<'a> {
    pub(super) fn new(fields: &'a Map<String, Value>, path: &str) -> Self {
        Self { fields, path: path.to_owned() }
    }

    /// The key with its path, as messages name it.
    pub(super) fn name(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.fields.contains_key(key)
    }

    fn value(&self, key: &str) -> Result<&'a Value, RequestError> {
        self.fields.get(key).ok_or_else(|| RequestError::Missing(self.name(key)))
    }

    /// The value of a key refused.
    pub(super) fn refuse(&self, key: &str, expected: &str) -> RequestError {
        let found = self.fields.get(key).unwrap_or(&Value::Null);
        RequestError::wrong(&self.name(key), found, expected)
    }

    /// A finite number.
    pub(super) fn number(&self, key: &str) -> Result<f64, RequestError> {
        let number = self.value(key)?.as_f64().filter(|number| number.is_finite());
        number.ok_or_else(|| self.refuse(key, "a number"))
    }

    /// A number of at least zero.
    pub(super) fn not_negative(&self, key: &str) -> Result<f64, RequestError> {
        let number = self.number(key)?;
        if number >= 0.0 { Ok(number) } else { Err(self.refuse(key, "a number of 0 or more")) }
    }

    /// A number above zero.
    pub(super) fn positive(&self, key: &str) -> Result<f64, RequestError> {
        let number = self.number(key)?;
        if number > 0.0 { Ok(number) } else { Err(self.refuse(key, "a number above 0")) }
    }

    /// A whole number from `least` to `most`; `2.0` counts as whole.
    pub(super) fn count(&self, key: &str, least: u32, most: u32) -> Result<u32, RequestError> {
        let number = self.number(key)?;
        let range = f64::from(least)..=f64::from(most);
        if !range.contains(&number) || number.fract() != 0.0 {
            return Err(self.refuse(key, &format!("a whole number from {least} to {most}")));
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "whole and within u32, checked above"
        )]
        Ok(number as u32)
    }

    /// Text.
    pub(super) fn text(&self, key: &str) -> Result<&'a str, RequestError> {
        self.value(key)?.as_str().ok_or_else(|| self.refuse(key, "text"))
    }

    /// True or false.
    pub(super) fn flag(&self, key: &str) -> Result<bool, RequestError> {
        self.value(key)?.as_bool().ok_or_else(|| self.refuse(key, "true or false"))
    }

    /// An object.
    pub(super) fn object(&self, key: &str) -> Result<Inputs<'a>, RequestError> {
        let fields = self.value(key)?.as_object().ok_or_else(|| self.refuse(key, "an object"))?;
        Ok(Inputs { fields, path: self.name(key) })
    }

    fn list(&self, key: &str) -> Result<&'a [Value], RequestError> {
        self.value(key)?.as_array().map(Vec::as_slice).ok_or_else(|| self.refuse(key, "a list"))
    }

    /// A list of finite numbers.
    pub(super) fn numbers(&self, key: &str) -> Result<Vec<f64>, RequestError> {
        let read = |(place, value): (usize, &Value)| {
            let number = value.as_f64().filter(|number| number.is_finite());
            number.ok_or_else(|| RequestError::wrong(&format!("{}[{place}]", self.name(key)), value, "a number"))
        };
        self.list(key)?.iter().enumerate().map(read).collect()
    }

    /// A list of objects.
    pub(super) fn objects(&self, key: &str) -> Result<Vec<Inputs<'a>>, RequestError> {
        let read = |(place, value): (usize, &'a Value)| {
            let path = format!("{}[{place}]", self.name(key));
            match value.as_object() {
                Some(fields) => Ok(Inputs { fields, path }),
                None => Err(RequestError::wrong(&path, value, "an object")),
            }
        };
        self.list(key)?.iter().enumerate().map(read).collect()
    }
}

/// A result being put together; refuses to hold a number that is not finite.
#[derive(Default)]
pub(super) struct Answer {
    fields: Map<String, Value>,
    not_finite: Option<&'static str>,
}

impl Answer {
    pub(super) fn number(self, key: &'static str, number: f64) -> Self {
        self.optional(key, Some(number))
    }

    /// `None` is written as null: the quantity does not exist here.
    pub(super) fn optional(mut self, key: &'static str, number: Option<f64>) -> Self {
        if number.is_some_and(|number| !number.is_finite()) {
            self.not_finite.get_or_insert(key);
        }
        self.value(key, number)
    }

    pub(super) fn numbers(mut self, key: &'static str, numbers: &[f64]) -> Self {
        if numbers.iter().any(|number| !number.is_finite()) {
            self.not_finite.get_or_insert(key);
        }
        self.value(key, numbers)
    }

    pub(super) fn value(mut self, key: &'static str, value: impl Into<Value>) -> Self {
        self.fields.insert(key.to_owned(), value.into());
        self
    }

    pub(super) fn finish(self) -> Result<Map<String, Value>, RequestError> {
        match self.not_finite {
            None => Ok(self.fields),
            Some(key) => Err(RequestError::Unanswerable(format!("{key} grows beyond any number for these inputs"))),
        }
    }
}
