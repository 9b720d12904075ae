//! Damage to a good stream.

use crate::load::Dice;

/// What happens to one frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Damage {
    None,
    /// A run of bits within the length that a check finds for certain.
    Run,
    /// One bit.
    Bit,
    /// Any bits, any number.
    Bits,
    /// Its end is missing and the next one follows.
    Cut,
    /// Its beginning is missing.
    Beheaded,
    /// Some bytes of its middle are missing.
    Gap,
    /// It comes twice.
    Twice,
    /// It does not come.
    Lost,
    /// Random bytes stand before it.
    Noise,
    /// Random bytes stand in its place.
    Instead,
}

/// Damage that a check of so many bits finds for certain.
pub(crate) const CERTAIN: &[Damage] = &[
    Damage::Run,
    Damage::Bit,
    Damage::Cut,
    Damage::Beheaded,
    Damage::Twice,
    Damage::Lost,
    Damage::Noise,
    Damage::Instead,
];
/// Anything.
pub(crate) const ANY: &[Damage] = &[Damage::Bits, Damage::Gap, Damage::Bit, Damage::Run, Damage::Cut, Damage::Beheaded];

/// The frame after the damage.
pub(crate) fn damage(frame: &[u8], kind: Damage, sure_bits: u32, dice: &mut Dice, out: &mut Vec<u8>) {
    let bits = frame.len() * 8;
    let flip = |out: &mut Vec<u8>, from: usize, bit: usize| out[from + bit / 8] ^= 1 << (bit % 8);
    let from = out.len();
    match kind {
        Damage::None => out.extend(frame),
        Damage::Run => {
            out.extend(frame);
            // A run starts and ends with a flipped bit; what is between is chance.
            let length = 1 + dice.index(usize::try_from(sure_bits.max(8)).unwrap());
            let first = dice.index(bits - length + 1);
            for bit in 0..length {
                // On the wire the lowest bit of a byte comes first, so a run is one in this order.
                if bit == 0 || bit == length - 1 || dice.chance(0.5) {
                    flip(out, from, first + bit);
                }
            }
        }
        Damage::Bit => {
            out.extend(frame);
            let bit = dice.index(bits);
            flip(out, from, bit);
        }
        Damage::Bits => {
            out.extend(frame);
            for _ in 0..1 + dice.below(12) {
                let bit = dice.index(bits);
                flip(out, from, bit);
            }
        }
        Damage::Cut => out.extend(&frame[..dice.index(frame.len())]),
        Damage::Beheaded => out.extend(&frame[1 + dice.index(frame.len() - 1)..]),
        Damage::Gap => {
            let start = dice.index(frame.len());
            let end = start + 1 + dice.index(frame.len() - start);
            out.extend(&frame[..start]);
            out.extend(&frame[end..]);
        }
        Damage::Twice => {
            out.extend(frame);
            out.extend(frame);
        }
        Damage::Lost => {}
        Damage::Noise | Damage::Instead => {
            let length = 1 + dice.index(60);
            out.extend(std::iter::repeat_with(|| dice.byte()).take(length));
            if kind == Damage::Noise {
                out.extend(frame);
            }
        }
    }
}
