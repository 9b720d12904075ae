//! What is wrong with the description of a wire format, or with a setting of one.

use thiserror::Error;

/// A format that cannot be used, with the place and what would be allowed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum FormatError {
    /// No family of that name is built in.
    #[error("no wire format is called `{found}`; there are: {known}")]
    UnknownFamily {
        /// The name asked for.
        found: String,
        /// All names, comma apart.
        known: String,
    },
    /// The family has no such setting.
    #[error("the wire format `{family}` has no setting `{key}`; it has: {known}")]
    UnknownSetting {
        /// The family.
        family: String,
        /// The key asked for.
        key: String,
        /// All settings, comma apart, or `none`.
        known: String,
    },
    /// The setting does not take that value.
    #[error("`{key}` is `{found}`; allowed: {allowed}")]
    WrongSetting {
        /// The setting.
        key: String,
        /// The value asked for.
        found: String,
        /// All values, comma apart.
        allowed: String,
    },
    /// The text is not TOML, or a key has a value of the wrong kind.
    #[error("{name}, line {line}: {message}")]
    Syntax {
        /// The file, as the caller named it.
        name: String,
        /// Line, from 1; 0 where none is known.
        line: usize,
        /// What was found and what was expected.
        message: String,
    },
    /// The TOML is well formed but describes no format.
    #[error("{name}, line {line}: `{key}` is {found}; allowed: {allowed}")]
    Meaning {
        /// The file, as the caller named it.
        name: String,
        /// Line, from 1; 0 where none is known.
        line: usize,
        /// The key at fault.
        key: String,
        /// What was found.
        found: String,
        /// What is allowed.
        allowed: String,
    },
}
