//! What a matched frame says, put together from its fields.
//!
//! In: a layout and which field stands where. Out: a [`Frame`], or why its parts cannot be true together.

use super::decimal::{Decimal, Float};
use super::field::{BitPart, BitRole, Column, Destination, Field, Quantity, assemble, column, decimals, status_word};
use super::frame::{Channels, Code, Frame, NetGross, UnitCode};
use super::gs1;
use super::layout::{Layout, Spans};
use super::meaning::Meaning;
use super::refusal::Refusal;

/// What has been learnt from the fields so far.
#[derive(Default)]
struct Reading {
    number: Option<Decimal>,
    composite: bool,
    negative: bool,
    shift: i16,
    unit: Option<UnitCode>,
    pounds_ounces: bool,
    moving: bool,
    settled: bool,
    out_of_range: bool,
    in_range: bool,
    error: bool,
    no_value: bool,
    net_gross: Option<NetGross>,
    channels: Channels,
    /// A channel's number that still waits for its name.
    unnamed: Option<Decimal>,
    code: Option<Code>,
}

/// The frame that a layout and its fields make of these bytes.
pub(crate) fn evaluate(layout: &Layout, spans: &Spans<'_>, bytes: &[u8], at_byte: u64) -> Result<Frame, Refusal> {
    let mut reading = Reading::default();
    reading.learn(&layout.says)?;
    for span in spans.iter() {
        reading.field(span.field, bytes.get(span.start..span.end).unwrap_or_default())?;
    }
    reading.name_channel(b"")?;
    reading.into_frame(layout, at_byte)
}

impl Reading {
    fn learn(&mut self, meanings: &[Meaning]) -> Result<(), Refusal> {
        for meaning in meanings {
            match *meaning {
                Meaning::Stable => self.settled = true,
                Meaning::Moving => self.moving = true,
                Meaning::Over | Meaning::Under => self.out_of_range = true,
                Meaning::InRange => self.in_range = true,
                Meaning::Error => self.error = true,
                Meaning::Mass(mass) => self.net_gross = Some(mass),
                Meaning::Negative if self.negative => return Err(Refusal::Contradiction("two minus signs")),
                Meaning::Negative => self.negative = true,
                Meaning::Unit(unit) => self.unit = Some(unit),
                Meaning::PoundsOunces => self.pounds_ounces = true,
                Meaning::NoNumber => self.no_value |= self.channels.is_empty(),
                Meaning::Positive | Meaning::Nothing | Meaning::NotAllowed => {}
            }
        }
        Ok(())
    }

    fn field(&mut self, field: &Field, bytes: &[u8]) -> Result<(), Refusal> {
        match field {
            Field::Literal(_) | Field::Skip { .. } | Field::Check(_) | Field::Repeat(_) => Ok(()),
            Field::Words(words) => self.learn(words.find(bytes).unwrap_or_default()),
            Field::Number { spec, instead, quantity, .. } => match column(bytes, spec, instead) {
                Some(Column::State(meanings)) => self.learn(meanings),
                Some(Column::Number(parsed)) => {
                    self.composite |= parsed.composite;
                    self.quantity(parsed.decimal, quantity)
                }
                None => Err(Refusal::NotANumber),
            },
            Field::Bits { parts, .. } => parts.iter().try_for_each(|part| self.bits(part, status_word(bytes))),
            Field::Bcd { low_first, quantity, .. } => {
                let mut number = Some(Decimal::ZERO);
                let mut append =
                    |byte: &u8| number = number.and_then(|number| number.append(byte >> 4)?.append(byte & 15));
                if *low_first {
                    bytes.iter().rev().for_each(&mut append)
                } else {
                    bytes.iter().for_each(&mut append)
                }
                self.quantity(number.ok_or(Refusal::NotANumber)?, quantity)
            }
            Field::Integer { places, signed, quantity } => {
                let raw = assemble(bytes, places);
                let number = if *signed {
                    Decimal::whole(sign_extended(raw, places.len()))
                } else {
                    Decimal { mantissa: raw, ..Decimal::ZERO }
                };
                self.quantity(number, quantity)
            }
            Field::Float { places, quantity } => {
                let number = Decimal::from_float(float(assemble(bytes, places), places.len()));
                self.quantity(number.ok_or(Refusal::NotANumber)?, quantity)
            }
            Field::Decimals { written_as, .. } => {
                self.shift += decimals(bytes, *written_as).unwrap_or(0);
                Ok(())
            }
            Field::PowerOfTen => {
                let power = bytes.first().map_or(0, |byte| i16::from(i8::from_ne_bytes([*byte])));
                self.shift -= power;
                Ok(())
            }
            Field::Name { .. } => self.name_channel(bytes),
            Field::Symbology(table) => {
                let name = table.iter().find(|(key, _)| key == bytes).map(|(_, name)| name.clone());
                self.code().symbology = name.unwrap_or_default();
                Ok(())
            }
            Field::Gs1(_) => {
                let identifiers = &mut self.code().identifiers;
                gs1::parse(bytes, |identifier, content| identifiers.push((identifier.to_owned(), content.to_owned())))
                    .ok_or(Refusal::NotANumber)
            }
            Field::CodeText { .. } => {
                let read = match std::str::from_utf8(bytes) {
                    Ok(text) => text.to_owned(),
                    Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
                };
                self.code().text.get_or_insert_default().push_str(&read);
                Ok(())
            }
        }
    }

    fn code(&mut self) -> &mut Code {
        self.code.get_or_insert_with(|| Code { symbology: String::new(), identifiers: Vec::new(), text: None })
    }

    fn bits(&mut self, part: &BitPart, word: u32) -> Result<(), Refusal> {
        let value = (word >> part.shift) & part.mask;
        let index = usize::try_from(value).unwrap_or(usize::MAX);
        match &part.role {
            BitRole::Must(_) | BitRole::Any => Ok(()),
            BitRole::Is(list) => self.learn(list.get(index).map_or(&[], Vec::as_slice)),
            BitRole::Decimals(list) => {
                self.shift += list.get(index).copied().unwrap_or(0);
                Ok(())
            }
            BitRole::Digit => {
                let digit = u8::try_from(value).map_err(|_| Refusal::NotANumber)?;
                self.number = Some(self.number.unwrap_or(Decimal::ZERO).append(digit).ok_or(Refusal::NotANumber)?);
                Ok(())
            }
        }
    }

    fn quantity(&mut self, number: Decimal, quantity: &Quantity) -> Result<(), Refusal> {
        let plain = number.normalised();
        if let Some((_, meanings)) = quantity.sentinels.iter().find(|(sentinel, _)| *sentinel == plain) {
            return self.learn(meanings);
        }
        if quantity.below.is_some_and(|limit| !number.is_below(limit)) {
            return Err(Refusal::Contradiction("the smaller part makes up one of the larger"));
        }
        let number = number.times(quantity.times).and_then(|number| number.shifted(quantity.implied));
        let number = number.ok_or(Refusal::NotANumber)?;
        match &quantity.to {
            Destination::Nowhere => {}
            Destination::Value => {
                self.number = Some(match self.number {
                    None => number,
                    Some(larger) => {
                        larger.plus_part(number).ok_or(Refusal::Contradiction("two signs in one number"))?
                    }
                });
            }
            Destination::Channel(name) => {
                self.name_channel(b"")?;
                self.unnamed = Some(number);
                if let Some(name) = name {
                    self.name_channel(name)?;
                }
            }
        }
        Ok(())
    }

    /// Gives the waiting channel its name; an empty name is its place.
    fn name_channel(&mut self, name: &[u8]) -> Result<(), Refusal> {
        let Some(number) = self.unnamed.take() else { return Ok(()) };
        let text = number.shifted(self.shift).and_then(Decimal::text).ok_or(Refusal::NotANumber)?;
        self.channels.add(name, text).ok_or(Refusal::Contradiction("too many channels, or two of one name"))
    }

    fn into_frame(self, layout: &Layout, at_byte: u64) -> Result<Frame, Refusal> {
        let overload = match (self.out_of_range, self.in_range && !self.error) {
            (true, _) => Some(true),
            (false, true) => Some(false),
            (false, false) => None,
        };
        let mut frame = Frame {
            at_byte,
            value: None,
            unit: None,
            stable: None,
            overload,
            net_gross: self.net_gross,
            channels: Channels::default(),
            code: self.code,
        };
        if self.out_of_range || self.error {
            return Ok(frame);
        }
        if let Some(number) = self.number {
            if number.negative && self.negative {
                return Err(Refusal::Contradiction("two minus signs"));
            }
            if self.composite != self.pounds_ounces {
                return Err(Refusal::Contradiction("pounds and ounces in the unit or in the number, not in both"));
            }
            let number = Decimal { negative: number.negative || self.negative, ..number };
            frame.value = Some(number.shifted(self.shift).and_then(Decimal::text).ok_or(Refusal::NotANumber)?);
        }
        frame.unit = if self.pounds_ounces { Some(UnitCode::Ounce) } else { self.unit };
        frame.stable = if self.moving { Some(false) } else { self.settled.then_some(true) };
        if layout.value_from_channels {
            match self.channels.iter().next() {
                _ if self.no_value => frame.unit = None,
                Some((_, first)) => frame.value = Some(*first),
                None => return Err(Refusal::NoReading),
            }
        }
        frame.channels = self.channels;
        Ok(frame)
    }
}

fn sign_extended(raw: u64, width: usize) -> i64 {
    let unused = 64_u32.saturating_sub(u32::try_from(width).unwrap_or(8) * 8);
    i64::from_ne_bytes((raw << unused).to_ne_bytes()) >> unused
}

fn float(raw: u64, width: usize) -> Float {
    match u32::try_from(raw) {
        Ok(raw) if width == 4 => Float::Single(f32::from_bits(raw)),
        _ => Float::Double(f64::from_bits(raw)),
    }
}
