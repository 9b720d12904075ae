//! What the guided commands share: a weight as arguments or answers, and events that are waited for.

use std::io::{BufRead as _, IsTerminal as _};
use std::time::Duration;

use anyhow::{Context as _, bail};
use serde_json::{Value, json};

use super::access::Access;
use super::print;
use crate::journal::store::{BATCH, Reader};

/// How often new events are looked for.
const LOOK: Duration = Duration::from_millis(100);
/// How long a placement is waited for.
const PATIENCE: Duration = Duration::from_secs(15 * 60);

/// A weight as its box and certificate say.
#[derive(clap::Args, Clone, Default)]
pub(crate) struct StatedWeight {
    /// Mass of the weight, such as "200 g"
    #[arg(long)]
    pub(crate) mass: Option<String>,
    /// Its class after OIML R 111: E1, E2, F1, F2, M1, M2 or M3
    #[arg(long)]
    class: Option<String>,
    /// Error by its certificate, such as "2 mg"
    #[arg(long, allow_hyphen_values = true)]
    error: Option<String>,
    /// Expanded uncertainty (k = 2) by its certificate, such as "3 mg"
    #[arg(long)]
    expanded_u: Option<String>,
    /// Number of the certificate
    #[arg(long)]
    certificate: Option<String>,
}

impl StatedWeight {
    /// Puts the weight into a command; asks at the terminal for what was not given.
    ///
    /// # Errors
    /// When something is missing and there is nobody to ask.
    pub(crate) fn fill(&self, command: &mut Value, more: &[(&str, &str)]) -> anyhow::Result<()> {
        let Some(fields) = command.as_object_mut() else { bail!("the command is no JSON object") };
        let mass = match &self.mass {
            Some(mass) => mass.clone(),
            None => answer("mass of the weight, such as 200 g")?.context("give the mass of the weight with --mass")?,
        };
        let class = match (&self.class, &self.expanded_u) {
            (None, None) => answer("class of the weight (E1 E2 F1 F2 M1 M2 M3), or nothing")?,
            (class, _) => class.clone(),
        };
        let optional = [
            ("class", class.as_ref()),
            ("error", self.error.as_ref()),
            ("expanded_u", self.expanded_u.as_ref()),
            ("certificate", self.certificate.as_ref()),
        ];
        fields.insert("mass".to_owned(), json!(mass));
        for (key, value) in optional {
            if let Some(value) = value {
                fields.insert(key.to_owned(), json!(value));
            }
        }
        for (key, value) in more {
            fields.insert((*key).to_owned(), json!(value));
        }
        Ok(())
    }
}

/// One answer of the person at the terminal; `None` for an empty line or when nobody is there.
///
/// # Errors
/// When stdin cannot be read.
pub(crate) fn answer(question: &str) -> anyhow::Result<Option<String>> {
    if std::io::stdin().is_terminal() {
        print::say(&format!("{question}: "));
    }
    let mut line = String::new();
    std::io::stdin().lock().read_line(&mut line).context("stdin cannot be read")?;
    let line = line.trim();
    Ok((!line.is_empty()).then(|| line.to_owned()))
}

/// A number of a JSON object.
pub(crate) fn number(value: &Value, key: &str) -> Option<f64> {
    value.get(key).and_then(Value::as_f64)
}

/// Reads the events of a running daemon as they come.
pub(crate) struct Follower {
    journal: Reader,
    seq: u64,
}

impl Follower {
    /// Follows from the newest event on.
    ///
    /// # Errors
    /// When no daemon runs, as nothing would ever be read, or the journal cannot be read.
    pub(crate) async fn at_the_end(access: &Access) -> anyhow::Result<Self> {
        access.must_run()?;
        let journal = access.reader().await?;
        let seq = journal.last_seq().await?;
        Ok(Self { journal, seq })
    }

    /// Waits for an event.
    ///
    /// # Errors
    /// When it does not come in time or the journal cannot be read.
    pub(crate) async fn wait(&mut self, wanted: impl Fn(&Value) -> bool) -> anyhow::Result<Value> {
        let found = tokio::time::timeout(PATIENCE, async {
            loop {
                for row in self.journal.after(self.seq, BATCH).await? {
                    self.seq = row.seq;
                    let event: Value = serde_json::from_str(&row.body)?;
                    if wanted(&event) {
                        return anyhow::Ok(event);
                    }
                }
                tokio::time::sleep(LOOK).await;
            }
        });
        tokio::select! {
            found = found => found.context("nothing was laid down for 15 minutes")?,
            // The reference is called off by the caller: the next part must not be taken for it.
            _ = tokio::signal::ctrl_c() => bail!("interrupted"),
        }
    }
}
