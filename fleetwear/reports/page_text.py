"""Text for a printed page: on one line, cut to a length, and of characters that the page's fonts have."""

from __future__ import annotations

import unicodedata

LACKING = "?"
"""Stands for a character that the page's fonts lack."""

_RANGES = (
    (0x0020, 0x007E),
    (0x00A0, 0x00AC),
    (0x00AE, 0x024F),
    (0x0391, 0x03A1),
    (0x03A3, 0x03CE),
    (0x0400, 0x045F),
    (0x1E80, 0x1E85),
    (0x2010, 0x2015),
    (0x2018, 0x201E),
)
_SINGLE = "\u2026\u2030\u2032\u2033\u20ac\u2122\u2212\u2264\u2265\u2260\u2248\u1e9e"
_BREAK = "\u200b"
_WORD = 18
"""Characters of a word after which it may be broken."""


def plain(value: object, longest: int) -> str:
    """Return a value as one line of text of at most so many characters, the last an ellipsis where it was cut.

    Control, direction and other unseen characters are dropped; a character that the page's fonts lack becomes
    a question mark; long words get places to break at, which do not count.
    """
    composed = unicodedata.normalize("NFC", str(value)[: 8 * longest])
    words = " ".join("".join(_shown(character) for character in composed).split())
    cut = words if len(words) <= longest else words[: longest - 1].rstrip() + "…"
    return " ".join(_breakable(word) for word in cut.split(" "))


def _shown(character: str) -> str:
    category = unicodedata.category(character)
    if character.isspace():
        return "\u00a0" if character == "\u00a0" else " "
    if category[0] == "M" or category in ("Cc", "Cf", "Cs", "Cn", "Co"):
        return ""
    if character in _SINGLE or any(low <= ord(character) <= high for low, high in _RANGES):
        return character
    return LACKING


def _breakable(word: str) -> str:
    return _BREAK.join(word[at : at + _WORD] for at in range(0, len(word), _WORD)) if len(word) > _WORD + 6 else word
