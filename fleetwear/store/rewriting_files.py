"""A person's name taken out of a file that was handed over: text as text, XLSX sheet by sheet of its archive."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass
from xml.sax.saxutils import escape

_ENCODINGS = ("utf-8", "utf-16", "cp1252")


@dataclass(frozen=True)
class Name:
    """A name as it is looked for, whole and in any case, and the code that stands for it.

    Attributes
    ----------
    name, code
        What is looked for, and what is put in its place.
    """

    name: str
    code: str

    def pattern(self, *, in_xml: bool = False) -> re.Pattern[str]:
        """Return what finds the name: whole words, any case, any blanks between them."""
        words = [escape(word, {'"': "&quot;"}) if in_xml else word for word in self.name.split()]
        return re.compile(r"(?<!\w)" + r"\s+".join(_either_way(word) for word in words) + r"(?!\w)", re.IGNORECASE)

    def out_of(self, text: str, *, in_xml: bool = False) -> str:
        """Return a text with the code in place of the name."""
        return self.pattern(in_xml=in_xml).sub(self.code, text)


def _either_way(word: str) -> str:
    """Return what finds a word, its letters beyond ASCII also where JSON or TOML writes them as ``\\u00e9``."""

    def each(letter: str) -> str:
        escaped = (f"u{ord(form):04x}" for form in (letter.lower(), letter.upper()) if len(form) == 1)
        return re.escape(letter) if letter.isascii() else rf"(?:{letter}|\\(?:{'|'.join(escaped)}))"

    return "".join(map(each, word))


def without_name(content: bytes, name: Name) -> bytes:
    """Return a file's bytes with the code in place of the name; the same bytes where it is not in them."""
    if content[:4] == b"PK\x03\x04":
        return _workbook_without(content, name)
    for encoding in _ENCODINGS:
        if encoding == "utf-16" and content[:2] not in (b"\xff\xfe", b"\xfe\xff"):
            continue
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        fresh = name.out_of(text)
        return content if fresh == text else fresh.encode(encoding)
    return content


def _workbook_without(content: bytes, name: Name) -> bytes:
    """Return a workbook with the code in every part that holds the name, also where a cell's text is split by looks."""
    changed = False
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.infolist():
            part = old.read(member)
            if member.filename.endswith((".xml", ".rels", ".vml")):
                text = part.decode("utf-8")
                fresh = _split_texts(name.out_of(text, in_xml=True), name)
                changed |= fresh != text
                part = fresh.encode("utf-8")
            new.writestr(member, part)
    return target.getvalue() if changed else content


def _split_texts(xml: str, name: Name) -> str:
    """Replace the name where runs of differing looks split it: the item then loses its looks."""

    def joined(item: re.Match[str]) -> str:
        texts = re.findall(r"<t(?:\s[^>]*)?>(.*?)</t>", item[2], flags=re.DOTALL)
        whole = "".join(texts)
        fresh = name.out_of(whole, in_xml=True)
        return (
            item[0]
            if len(texts) < 2 or fresh == whole
            else f'<{item[1]}><t xml:space="preserve">{fresh}</t></{item[1]}>'
        )

    return re.sub(r"<(si|is)>(.*?)</\1>", joined, xml, flags=re.DOTALL)
