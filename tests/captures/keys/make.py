#!/usr/bin/env python3
"""Makes the recordings of this folder: what the kernel reports when a scanner types, and when a person does.

No line of the daemon is used. Which key stands for a character is read from the keyboard descriptions of the X keyboard
project (packages xkb-data: symbols/us, keycodes/evdev, where a key code is the kernel's plus 8), the numbers of events from the
kernel's own header (package linux-libc-dev: linux/input-event-codes.h). Paces are common practice, no source.
"""

import random
import re
from pathlib import Path

HERE = Path(__file__).parent
HEADER = Path("/usr/include/linux/input-event-codes.h").read_text()
XKB = Path("/usr/share/X11/xkb")
# Names of the X keysyms of ASCII that are not the character itself.
NAMES = dict(
    grave="`", asciitilde="~", exclam="!", at="@", numbersign="#", dollar="$", percent="%", asciicircum="^", ampersand="&",
    asterisk="*", parenleft="(", parenright=")", minus="-", underscore="_", equal="=", plus="+", bracketleft="[", braceleft="{",
    bracketright="]", braceright="}", semicolon=";", colon=":", apostrophe="'", quotedbl='"', comma=",", less="<", period=".",
    greater=">", slash="/", question="?", backslash="\\", bar="|",
)


def number(name):
    return int(re.search(rf"#define\s+{name}\s+(0x[0-9a-f]+|\d+)", HEADER).group(1), 0)


def layout():
    """Character -> (key code, with shift)."""
    codes = {n: int(c) - 8 for n, c in re.findall(r"<(\w+)>\s*=\s*(\d+);", (XKB / "keycodes/evdev").read_text())}
    basic = re.search(r'xkb_symbols "basic" \{(.*?)\n\};', (XKB / "symbols/us").read_text(), re.S).group(1)
    keys = {" ": (number("KEY_SPACE"), False)}
    for name, plain, shifted in re.findall(r"key <(\w+)>\s*\{\s*\[\s*(\w+)\s*,\s*(\w+)\s*\]", basic):
        for sign, shift in ((plain, False), (shifted, True)):
            keys[NAMES.get(sign, sign)] = (codes[name], shift)
    return keys


KEYS = layout()
EV_SYN, EV_KEY, EV_MSC, MSC_SCAN, SYN_DROPPED = map(number, ["EV_SYN", "EV_KEY", "EV_MSC", "MSC_SCAN", "SYN_DROPPED"])
SHIFT, CTRL, CAPS, ENTER, F8, BRACKET = map(
    number, ["KEY_LEFTSHIFT", "KEY_LEFTCTRL", "KEY_CAPSLOCK", "KEY_ENTER", "KEY_F8", "KEY_RIGHTBRACE"]
)


class Recording:
    """Events with their times; each report of the keyboard is one moment, as on USB."""

    def __init__(self, step_us):
        self.t_us, self.step_us, self.lines = 1_760_000_000_000_000, step_us, []

    def event(self, kind, code, value):
        self.lines.append(f"E: {self.t_us // 10**6}.{self.t_us % 10**6:06d} {kind:04x} {code:04x} {value}")

    def report(self, *changes):
        for code, value in changes:
            # Real keyboards report a scan code of their own here; nobody looks at its value.
            self.event(EV_MSC, MSC_SCAN, 0)
            self.event(EV_KEY, code, value)
        self.event(EV_SYN, 0, 0)
        self.wait(self.step_us() if callable(self.step_us) else self.step_us)

    def wait(self, us):
        self.t_us += us

    def strike(self, code, shift=None):
        self.report(*([(shift, 1)] if shift else []), (code, 1))
        self.report((code, 0), *([(shift, 0)] if shift else []))

    def type(self, text, separator=None):
        for sign in text:
            if sign == "\x1d":
                self.strike(*separator)
            else:
                code, shift = KEYS[sign]
                self.strike(code, SHIFT if shift else None)
        return self

    def enter(self):
        self.strike(ENTER)
        return self

    def save(self, name, what):
        (HERE / name).write_text(f"# {what}\n" + "\n".join(self.lines) + "\n")


# The item number is the one of GS1's own public examples; the rest is invented.
PART = "]C1010950600013435210AB-7\x1d21A12"

Recording(8000).type("]C0BS1/O/W-1042").enter().save("order-card.events", "an order card, with identifier, a report each 8 ms")
Recording(1000).type("]C0BS1/V").enter().save("void-card.events", "the card that voids, a report each 1 ms")
Recording(4000).type(PART, (F8,)).enter().save("part-f8.events", "a GS1 code, separator as F8")
Recording(4000).type(PART, (BRACKET, CTRL)).enter().save("part-control.events", "a GS1 code, separator as control and bracket")
Recording(8000).type("BS1/W/K7").enter().type("BS1/N").enter().save("two-cards.events", "two cards without identifier")
every = "".join(chr(c) for c in range(0x20, 0x7F))
Recording(8000).type("]Q0" + every).enter().save("every-character.events", "all printable characters of ASCII")

caps = Recording(8000)
caps.strike(CAPS)
caps.type("]c0bs1/v")
caps.strike(CAPS)
caps.enter().save("caps-lock.events", "a scanner that makes capitals with caps lock")

chance = random.Random(7)
hand = Recording(lambda: chance.randint(60_000, 140_000))
hand.type("]C0BS1/V").enter().save("by-hand.events", "a person types the void card, 60 to 140 ms between reports")

fast = Recording(lambda: chance.choice([12_000, 25_000, 45_000, 60_000]))
fast.type("]C0BS1/V").enter().save("by-a-fast-hand.events", "keys that overlap: some reports are less than 30 ms apart")

paused = Recording(8000).type("]C0BS1/O/W-10")
paused.wait(180_000)
paused.type("42").enter().type("]C0BS1/D").enter().save("paused.events", "a scan with 180 ms of silence in it, and a whole one")

dropped = Recording(8000).type("]C0BS1/O/W-1")
dropped.event(EV_SYN, SYN_DROPPED, 0)
dropped.report()
dropped.type("42").enter()
dropped.wait(300_000)
dropped.type("]C0BS1/D").enter().save("dropped.events", "the kernel drops events in a scan; a whole one follows")

held = Recording(8000).type("]C0BS1/")
code, _ = KEYS["v"]
held.report((SHIFT, 1), (code, 1))
for _ in range(20):
    held.wait(25_000)
    held.event(EV_KEY, code, 2)
    held.event(EV_SYN, 0, 1)
held.report((code, 0), (SHIFT, 0))
held.enter().save("repeating.events", "a key that sticks and repeats: no code of four characters more")
