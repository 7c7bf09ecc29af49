"""The nominal bead (rim) diameter that a tyre size tells, in inches; a size that does not tell it is not guessed."""

from __future__ import annotations

import re

_SIZE = re.compile(
    r"""
    (?<![\w.])(?:P|LT|ST|T|C)?\s*
    (?:
        \d{3}\s*/\s*\d{2,3}                                  # 295/75
        | \d{2}(?:\.\d{1,2})?\s*[xX\u00d7]\s*\d{1,2}(?:\.\d{1,2})?  # 31x10.50
        | \d{1,2}(?:\.\d{1,2})?                              # 11, 8.25
    )
    \s*(?:ZR|R|B|D|-)\s*
    (?P<inches>\d{1,2}(?:\.\d{1,2})?)(?!\d|\.\d)
    """,
    re.VERBOSE,
)
_SMALLEST, _LARGEST = 8.0, 30.0


def bead_diameter(size: object) -> float | None:
    """Return the nominal bead diameter in inches, None where the text does not tell exactly one.

    Understood are sizes in inches behind R, ZR, B, D or a dash: "295/75R22.5", "11R22.5", "LT245/75R16", "8.25-20",
    "31x10.50R15LT". Rims in mm and text with several sizes that differ tell nothing.

    Parameters
    ----------
    size
        What is on record; None and nan tell nothing.
    """
    if not isinstance(size, str):
        return None
    found = {float(match["inches"]) for match in _SIZE.finditer(size.upper())}
    if len(found) != 1:
        return None
    inches = found.pop()
    return inches if _SMALLEST <= inches <= _LARGEST else None
