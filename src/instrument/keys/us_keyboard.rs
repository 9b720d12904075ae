//! Key codes and the characters that stand on these keys of a US keyboard. Data, and one look into it.

// Key codes: input-event-codes.h of the Linux kernel.
pub(super) const KEY_ENTER: u16 = 28;
pub(super) const KEY_RIGHTBRACE: u16 = 27;
pub(super) const KEY_LEFTCTRL: u16 = 29;
pub(super) const KEY_J: u16 = 36;
pub(super) const KEY_LEFTSHIFT: u16 = 42;
pub(super) const KEY_M: u16 = 50;
pub(super) const KEY_RIGHTSHIFT: u16 = 54;
pub(super) const KEY_LEFTALT: u16 = 56;
pub(super) const KEY_CAPSLOCK: u16 = 58;
pub(super) const KEY_F8: u16 = 66;
pub(super) const KEY_NUMLOCK: u16 = 69;
pub(super) const KEY_KPENTER: u16 = 96;
pub(super) const KEY_RIGHTCTRL: u16 = 97;
pub(super) const KEY_RIGHTALT: u16 = 100;
pub(super) const KEY_LEFTMETA: u16 = 125;
pub(super) const KEY_RIGHTMETA: u16 = 126;

/// Rows of keys that follow each other: the first key code, then the characters without and with shift, on a US
/// keyboard (the symbols "us", basic, of xkeyboard-config).
const ROWS: &[(u16, &[u8], &[u8])] = &[
    (2, b"1234567890-=", b"!@#$%^&*()_+"),
    (16, b"qwertyuiop[]", b"QWERTYUIOP{}"),
    (30, b"asdfghjkl;'`", b"ASDFGHJKL:\"~"),
    (43, b"\\zxcvbnm,./", b"|ZXCVBNM<>?"),
    (57, b" ", b" "),
    // The number pad, as with num lock: scanners that type digits there mean digits.
    (55, b"*", b"*"),
    (71, b"789-456+1230.", b"789-456+1230."),
    (98, b"/", b"/"),
];

/// The character of a key with shift and caps lock as they are; `None` for a key without one.
pub(super) fn character(key: u16, shifted: bool, capitals: bool) -> Option<u8> {
    ROWS.iter().find_map(|(first, plain, with_shift)| {
        let place = usize::from(key.checked_sub(*first)?);
        let letter = plain.get(place)?.is_ascii_lowercase();
        let row = if shifted != (capitals && letter) { with_shift } else { plain };
        row.get(place).copied()
    })
}
