"""The vocabulary's words and how people spell them, as one table for the checks to join."""

from __future__ import annotations

import re
from enum import StrEnum

import pandas as pd

from fleetwear import vocabulary

DOMAINS: dict[str, type[StrEnum]] = {
    "side": vocabulary.Side,
    "kind": vocabulary.Kind,
    "direction": vocabulary.Direction,
    "method": vocabulary.Method,
    "support": vocabulary.Support,
    "read at": vocabulary.ReadAt,
    "wheel part": vocabulary.WheelPart,
    "weight class": vocabulary.WeightClass,
    "indicator": vocabulary.Indicator,
    "timing": vocabulary.Timing,
    "result": vocabulary.Result,
    "work": vocabulary.Work,
    "action": vocabulary.Action,
    "basis": vocabulary.Basis,
    "event": vocabulary.OdometerEvent,
    "distance source": vocabulary.DistanceSource,
}
"""The words that a column of that name may hold."""

_ALSO: dict[str, dict[str, str]] = {
    "side": {"l": "left", "r": "right", "center": "centre", "middle": "centre"},
    "kind": {"king pin": "kingpin", "stabiliser link": "stabilizer link"},
    "direction": {"in and out": "in-out", "fore and aft": "fore-aft", "up and down": "up-down"},
    "method": {"lever under tire": "lever under tyre"},
    "read at": {"tire tread": "tyre tread", "tire sidewall": "tyre sidewall"},
    "weight class": {
        "10000 lb and under": "10,000 lb and under",
        "10,000 lb or less": "10,000 lb and under",
        "10000 lb or less": "10,000 lb and under",
        "over 10000 lb": "over 10,000 lb",
    },
    "indicator": {"dial": "dial indicator"},
    "timing": {"before": "before work", "after": "after work"},
    "result": {"none": "none seen", "no play seen": "none seen", "seen": "seen, not measured"},
    "work": {"replacement": "replaced", "adjustment": "adjusted"},
}


def word_form(text: str) -> str:
    """Return text as words are compared: small letters; spaces, hyphens, underscores and commas alike."""
    return re.sub(r"[\s_,-]+", " ", text.lower()).strip()


def word_table() -> pd.DataFrame:
    """Return every spelling as a row: domain, spelling (in word form), word."""
    rows = [(domain, word_form(word), str(word)) for domain, words in DOMAINS.items() for word in words]
    rows += [(domain, word_form(said), word) for domain, also in _ALSO.items() for said, word in also.items()]
    return pd.DataFrame(rows, columns=["domain", "spelling", "word"])


def meaning(domain: str, text: str) -> str | None:
    """Return the word of a domain that a text means, or None."""
    spellings = {word_form(word): str(word) for word in DOMAINS[domain]} | _also(domain)
    return spellings.get(word_form(text))


def _also(domain: str) -> dict[str, str]:
    return {word_form(said): word for said, word in _ALSO.get(domain, {}).items()}
