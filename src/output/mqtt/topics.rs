//! The topic names. Nothing that a person typed goes into one: site, bench and instrument ids are checked names of
//! the configuration, a record's token is generated.

/// The topics of one bench.
#[derive(Debug, Clone)]
pub(super) struct Topics {
    root: String,
}

impl Topics {
    pub(super) fn new(site: &str, bench: &str) -> Self {
        Self { root: format!("benchscribe/v1/{site}/{bench}/") }
    }

    pub(super) fn status(&self) -> String {
        self.below("status")
    }

    pub(super) fn order(&self) -> String {
        self.below("order")
    }

    pub(super) fn club(&self) -> String {
        self.below("club")
    }

    pub(super) fn event(&self) -> String {
        self.below("event")
    }

    pub(super) fn command(&self) -> String {
        self.below("command")
    }

    pub(super) fn instrument(&self, id: &str) -> String {
        format!("{}instrument/{id}", self.root)
    }

    pub(super) fn live(&self, id: &str) -> String {
        format!("{}live/{id}", self.root)
    }

    pub(super) fn record(&self, token: &str) -> String {
        format!("{}record/{token}", self.root)
    }

    /// Whether an answer may go to `topic`: a name without wildcards that is none of the bench's own, or a sender
    /// could have the bench forge its own records.
    pub(super) fn allows_answer(&self, topic: &str) -> bool {
        let own = topic.strip_prefix(&self.root).is_some_and(|rest| {
            let first = rest.split('/').next().unwrap_or_default();
            ["status", "order", "club", "event", "command", "instrument", "live", "record"].contains(&first)
        });
        !own && !topic.is_empty() && !topic.starts_with('$') && !topic.contains(['+', '#', '\0'])
    }

    fn below(&self, name: &str) -> String {
        format!("{}{name}", self.root)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_never_goes_to_a_topic_of_the_bench() {
        let topics = Topics::new("main", "b1");
        for (topic, allowed) in [
            ("replies/7", true),
            ("benchscribe/v1/main/b1/response/7", true),
            ("benchscribe/v1/main/b1/event", false),
            ("benchscribe/v1/main/b1/record/x", false),
            ("benchscribe/v1/main/b2/event", true),
            ("replies/#", false),
            ("$SYS/x", false),
            ("", false),
        ] {
            assert_eq!(topics.allows_answer(topic), allowed, "{topic}");
        }
    }
}
