//! The sum over the rows of the index that every start reads whole: it goes along with each row that is written, so that a
//! start finds out by counting them again whether one was changed, lost or made up.
//!
//! Exclusive or of the rows' hashes: a row goes in and out alone, whatever the order. It guards against damage, not against
//! a hand that could write the sum as well; what is proved is the chain.

use sha2::{Digest as _, Sha256};
use sqlx::{Row as _, SqliteConnection};

use super::index::READ_WHOLE;

/// The tables that are summed, as the sum names them.
pub(super) const LATEST: &str = "latest";
pub(super) const TRUST: &str = "trust";
pub(super) const STOCK: &str = "stock";
const EVENT: &str = "event";

/// What is summed.
const ROWS: &str = "
    SELECT 'latest', name, seq FROM index_latest
    UNION ALL SELECT 'trust', instrument, seq FROM index_trust
    UNION ALL SELECT 'stock', item, pieces FROM index_stock
    UNION ALL SELECT 'event', CAST(what AS TEXT), seq FROM index_event WHERE what IN (?1, ?2, ?3) AND n = 0";

/// A sum of rows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Sum(i64);

impl Sum {
    /// Takes a row in; the same again takes it out.
    pub(super) fn turn(&mut self, table: &str, name: &str, number: i64) {
        let hash = Sha256::digest(format!("{table}\n{name}\n{number}"));
        let first = hash.iter().take(8).fold(0_i64, |bits, byte| bits << 8 | i64::from(*byte));
        self.0 ^= first;
    }

    /// The same of a row of `index_event`, one of those in [`READ_WHOLE`].
    pub(super) fn turn_event(&mut self, what: i64, seq: i64) {
        self.turn(EVENT, &what.to_string(), seq);
    }

    /// The sum as it was written; none in a journal without events, or where its one row does not hold.
    pub(super) async fn written(connection: &mut SqliteConnection) -> Result<Option<Self>, sqlx::Error> {
        let rows = sqlx::query("SELECT one, sum FROM index_sum").fetch_all(connection).await?;
        Ok(match &rows[..] {
            [row] if row.try_get::<i64, _>(0)? == 1 => Some(Self(row.try_get(1)?)),
            _ => None,
        })
    }

    /// The sum of the rows as they are.
    pub(super) async fn counted(connection: &mut SqliteConnection) -> Result<Self, sqlx::Error> {
        let query = READ_WHOLE.iter().fold(sqlx::query(ROWS), |query, what| query.bind(what));
        let mut sum = Self::default();
        for row in query.fetch_all(connection).await? {
            sum.turn(row.try_get(0)?, row.try_get(1)?, row.try_get(2)?);
        }
        Ok(sum)
    }

    pub(super) async fn write(self, connection: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        sqlx::query("INSERT INTO index_sum (one, sum) VALUES (1, ?) ON CONFLICT (one) DO UPDATE SET sum = excluded.sum")
            .bind(self.0)
            .execute(connection)
            .await
            .map(|_| ())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_goes_in_and_out_alone_and_no_other_takes_its_place() {
        let rows = [("latest", "policy/", 3), ("latest", "policy/", 4), ("trust", "scale", 3), ("stock", "w-2", 3)];
        let of = |rows: &[(&str, &str, i64)]| {
            let mut sum = Sum::default();
            rows.iter().for_each(|(table, name, number)| sum.turn(table, name, *number));
            sum
        };
        let sums: std::collections::BTreeSet<i64> = rows.iter().map(|row| of(&[*row]).0).collect();
        assert_eq!(sums.len(), rows.len());
        let mut reversed = rows;
        reversed.reverse();
        assert_eq!(of(&rows), of(&reversed));
        let mut sum = of(&rows);
        sum.turn("latest", "policy/", 3);
        assert_eq!(sum, of(&rows[1..]));
    }
}
