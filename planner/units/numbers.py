"""Text to numbers; text that is none is refused, with what would do."""

from __future__ import annotations

import math
import re
from typing import NoReturn

MOST = 1e12
"""Numbers beyond this, in working units, are refused: nothing on a farm is that large."""
LEAST = 1e-9
"""Numbers nearer to 0 than this, yet not 0, are refused likewise."""
MOST_LETTERS = 100
"""Letters of a unit that are looked at; none in the list is as long."""


class Unreadable(ValueError):
    """A text is not what was expected; says what would have been, and the nearest remedy."""

    def __init__(self, expected: str, remedy: str) -> None:
        super().__init__(expected, remedy)
        self.expected = expected
        self.remedy = remedy


def refuse(expected: str, remedy: str = "") -> NoReturn:
    """Raise `Unreadable`."""
    raise Unreadable(expected, remedy)


_NUMBER = re.compile(
    r"[+\-]?"
    r"(?:(?:\d{1,3}(?:,\d{3})+|\d{1,3}(?: \d{3})+|\d+)(?:\.\d*)?|\.\d+)"
    r"(?:[eE][+\-]?\d{1,3})?",
    re.ASCII,
)
_SPACES = dict.fromkeys(map(ord, "\u00a0\u2007\u2009\u202f\t"), " ")
_MINUS = {0x2212: "-"}
A_NUMBER = "a number such as 140,000 or 4.6"


_SIGNS = str.maketrans({"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅓": " 1/3", "⅔": " 2/3"})
_FRACTION = re.compile(r"\s*(?:(\d{1,9})[ -]+)?(\d{1,9})\s*/\s*(\d{1,9})(?![\d/])\s*(.*)", re.A)


def fraction(text: str) -> tuple[float, str] | None:
    """Value of the fraction that a text begins with and what follows it; None where none does.

    >>> fraction("2 1/2 gal"), fraction("½ jug"), fraction("5/3/2027")
    ((2.5, 'gal'), (0.5, 'jug'), None)
    """
    found = _FRACTION.fullmatch(text.translate(_SIGNS).translate(_SPACES))
    if found is None or not int(found[3]):
        return None
    return int(found[1] or 0) + int(found[2]) / int(found[3]), found[4].strip()


def _split(text: str) -> tuple[str, str]:
    """Leading number of a text and what follows it."""
    text = text.translate(_SPACES).translate(_MINUS).strip()
    match = _NUMBER.match(text)
    if not match:
        return "", text
    digits = match.group()
    rest = text[len(digits) :]
    if digits[-1:].isdigit() and re.match(r"[.,:'’]?\d", rest):  # 1,5 or 1'000 or 12,34
        return "", text
    if fraction(text) is not None:
        return "", text
    return digits, rest.strip()


def read_number(text: str, comma: bool = True, expected: str = A_NUMBER) -> float:
    """Read a number without a unit.

    Parameters
    ----------
    text
        Digits, with ``,`` or a space between thousands, ``.`` before decimals, ``k`` for thousand.
    comma
        Whether ``,`` between thousands is sure to mean that: not so in a file whose cells are
        divided by ``;``.
    expected
        What is said to be expected where the text is none.

    Raises
    ------
    Unreadable
        When it is anything else, not finite or beyond `MOST`.

    >>> read_number("140,000"), read_number("140k"), read_number("1 000.5")
    (140000.0, 140000.0, 1000.5)
    """
    value, rest = number_and_rest(text, comma, expected)
    if rest:
        remedy = _number_remedy(text) or f"'{rest[:20]}' after the number is not understood"
        refuse(expected, remedy)
    return value


def number_and_rest(text: str, comma: bool, expected: str = A_NUMBER) -> tuple[float, str]:
    """Value of the leading number and the text after it; `expected` is for a text without one."""
    digits, rest = _split(text)
    if not digits:
        refuse(expected, _number_remedy(text))
    if "," in digits and not comma:
        refuse(
            "a number without a comma, as ; divides the cells of this file",
            f"write {digits.replace(',', '')} or {digits.replace(',', '.', 1)}",
        )
    value = float(digits.replace(",", "").replace(" ", ""))
    if re.match(r"k(?![a-z])", rest, re.IGNORECASE):
        value, rest = value * 1000.0, rest[1:].strip()
    check_size(value)
    return value + 0.0, rest  # -0 is 0


def check_size(value: float, unit: str = "") -> None:
    """Refuse a number that nothing on a farm can have.

    Raises
    ------
    Unreadable
        When it is not finite, beyond `MOST`, or below `LEAST` without being 0.
    """
    if not math.isfinite(value) or abs(value) > MOST:
        refuse(f"a number up to {MOST:g}{unit}", "look for a slip of the decimal point")
    if 0.0 < abs(value) < LEAST:
        refuse(f"0, or a number from {LEAST:g}{unit} on", "look for a slip of the decimal point")


def _number_remedy(text: str) -> str:
    """What to write instead of a text that is not a number."""
    tidy = text.translate(_SPACES).strip()
    decimal = re.match(r"([+\-]?\d+),(\d{1,2}|\d{4,})(?![\d,])", tidy)
    if decimal:
        return f"decimals follow a point: {decimal[1]}.{decimal[2]}"
    part = fraction(tidy)
    if part is not None:
        return f"write the fraction as a decimal number: {part[0]:.6g} {part[1][:20]}".rstrip()
    return ""
