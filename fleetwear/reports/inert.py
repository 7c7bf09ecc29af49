"""Text that people wrote, made inert for where it is shown: it is read, never carried out.

Control characters and marks that turn the direction of writing are left out, so that text can neither drive a terminal
nor reorder what stands beside it; letters of scripts that run from right to left stay. What is stored stays as it was.
"""

from __future__ import annotations

import re
from html import escape

LONGEST = 2_000
"""Characters of one text that are shown."""

_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff]")
_DIRECTIONS = re.compile(r"[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_MARK = r"[\u0300-\u036f\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff]"
_STACKED = re.compile(f"({_MARK}{{4}}){_MARK}+")


def on_screen(value: object, longest: int = LONGEST) -> str:
    """Return a text without control characters and direction marks, cut to a length with an ellipsis."""
    text = str(value)
    text = text if len(text) <= longest else text[: longest - 1] + "…"
    return _STACKED.sub(r"\1", _DIRECTIONS.sub("", _CONTROLS.sub("", text)))


def html_text(value: object, longest: int = LONGEST) -> str:
    """Return a text that HTML shows as it is."""
    return escape(on_screen(value, longest))


def markdown_text(value: object, longest: int = LONGEST) -> str:
    """Return a text that Markdown shows as it is: no link, picture, formula, colour or HTML comes of it.

    An unseen word joiner parts what would become a link even where every mark is escaped: addresses, "www", "@".
    """
    text = " ".join(on_screen(value, longest).split())
    parted = re.sub(r"(?i)(https?:)(?=//)|(www)(?=\.)|(@)", lambda found: f"{found[0]}\u2060", text)
    return re.sub(r"([\\`*_\[\](){}<>$#~:|!&+.=-])", r"\\\1", parted)


def file_name(value: object) -> str:
    """Return a text as a part of a file's name: letters, digits, hyphens, underscores and single dots."""
    return re.sub(r"\.{2,}", ".", re.sub(r"[^\w.-]+", "_", on_screen(value, 60))).strip("._") or "unnamed"
