"""The vehicle identification number: seventeen characters, and in North America a check digit in the ninth place.

Source: 49 CFR 565.13 and 565.15 (transliteration of letters, weights by place, remainder of the sum by 11, 10 is
written X); ISO 3779 leaves out the letters I, O and Q. Other regions use the ninth place freely, so a wrong check digit
is a reason to look, never to refuse. The macros ``vin_...`` of ``sql/macros.sql`` are the twins of these functions.
"""

from __future__ import annotations

_DIGITS = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", "12345678123457923456789", strict=True))
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def check_digit(vin: str) -> str:
    """Return the check digit, "0" to "9" or "X", that belongs into the ninth place of a VIN of 17 characters."""
    digits = [int(_DIGITS.get(each, each)) for each in vin.upper()]
    remainder = sum(weight * digit for weight, digit in zip(_WEIGHTS, digits, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def doubt(written: str) -> str | None:
    """Return what is doubtful about a VIN, or None; what has not seventeen letters and digits is taken for a serial."""
    vin = "".join(each for each in written.upper() if not each.isspace() and each != "-")
    if len(vin) != 17 or not (vin.isascii() and vin.isalnum()):
        return None
    if alien := next((each for each in vin if each in "IOQ"), None):
        return f"{written!r} has the letter {alien}, which no VIN has: it may be {'0' if alien in 'OQ' else '1'}"
    if check_digit(vin) != vin[8]:
        right = check_digit(vin)
        return f"the check digit of {written!r} is {vin[8]} and should be {right} if the vehicle is North American"
    return None
