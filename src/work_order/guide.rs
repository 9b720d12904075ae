//! What the bench knows that every club is compared with and advised by: equipment rules, limits of bending, and what was
//! learnt of heads that were bent. Shared by the clubs that are at hand; a finished club keeps that of its day.

use super::bending::{BENT, BendLimit, bent};
use super::record::ClubRecord;
use super::rules::RuleBook;
use crate::club::characteristic::Characteristic;

/// How many bent angles of clubs are remembered for learning.
const REMEMBERED: usize = 80;

/// Rules, limits and what was learnt.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Guide {
    /// The equipment rules; empty in journals older than them.
    pub rules: RuleBook,
    /// Limits of bending.
    pub bend_limits: Vec<BendLimit>,
    /// What sprang back, oldest club first.
    pub sprang_back: Vec<SprangBack>,
}

/// What sprang back of one angle of one club.
#[derive(Debug, Clone, PartialEq)]
pub struct SprangBack {
    /// The club.
    pub club: String,
    /// What its head is made of.
    pub material: String,
    /// Loft or lie.
    pub characteristic: Characteristic,
    /// Each time, in degrees, oldest first.
    pub degrees: Vec<f64>,
}

impl Guide {
    /// Learns anew from a club: what it taught before may have been taken back.
    pub(super) fn learn(&mut self, club: &ClubRecord) {
        self.sprang_back.retain(|known| known.club != club.spec.id);
        let Some(material) = &club.spec.details.head_material else { return };
        for characteristic in BENT {
            let degrees: Vec<f64> = bent(club, characteristic).into_iter().filter_map(|b| b.spring_back).collect();
            if !degrees.is_empty() {
                let (club, material) = (club.spec.id.clone(), material.clone());
                self.sprang_back.push(SprangBack { club, material, characteristic, degrees });
            }
        }
        let over = self.sprang_back.len().saturating_sub(REMEMBERED);
        self.sprang_back.drain(..over);
    }
}
