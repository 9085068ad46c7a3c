"""Texts: what of them a cell can hold, that they stay texts, and how much room they take."""

from __future__ import annotations

import math
import re
import unicodedata
from functools import cache

from planner.report.sheets import MAX_TEXT

CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
CUT = " ... (cut: too long for a cell)"
HYPHENS = re.compile(r" |(?<=-)(?=\w)")
"""Where a line may end: at a space, and behind a hyphen within a word."""
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "'")


FIRM = "\u00a0"
"""A space at which no line is broken."""
BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:units?|lb|kg|seeds/lb|seeds/kg)\b)")
"""The space between a number and its unit."""
ALIKE = (
    (" \u00a0!',./:;I[\\]fijlt|", 0.5),
    ('()-`r"^', 0.62),
    ("csvxyzJk", 0.9),
    ("mwMW@%", 1.6),
    ("&GOQ", 1.35),
)
"""Letters of about the same width, in widths of a digit."""


def clean(text: str) -> str:
    r"""Drop control characters, and cut what is too long for a cell, saying so.

    >>> clean("a\x07b")
    'ab'
    >>> len(clean("x" * 40_000)), clean("x" * 40_000)[-5:]
    (32767, 'cell)')
    """
    text = CONTROL.sub("", text).replace("\r\n", "\n").replace("\r", "\n")
    if len(text.encode("utf-16-le")) // 2 <= MAX_TEXT:
        return text
    kept = text[: MAX_TEXT - len(CUT)]
    while len(kept.encode("utf-16-le")) // 2 > MAX_TEXT - len(CUT):
        kept = kept[:-100]
    return kept + CUT


def together(text: str) -> str:
    r"""Keep numbers on one line with their units.

    >>> together("40 units, 2,137 lb, tested 2026")
    '40\xa0units, 2,137\xa0lb, tested 2026'
    """
    return BEFORE_UNIT.sub(FIRM, text)


def risky(text: str) -> bool:
    """Tell whether a spreadsheet would take the text for a formula if it were typed in.

    >>> risky("=1+1"), risky("North 80")
    (True, False)
    """
    return text.startswith(RISKY)


def text_width(text: str) -> float:
    """Width of a text in widths of a digit; letters of East Asia count for two.

    >>> text_width("2027"), round(text_width("Will"), 2), text_width("大豆")
    (4.0, 3.1, 4.0)
    """
    return sum(_letter_width(c) for c in text)


@cache
def _letter_width(letter: str) -> float:
    """Width of a letter of a usual sans-serif, by its kind."""
    for letters_alike, width in ALIKE:
        if letter in letters_alike:
            return width
    if letter.isascii():
        return 1.25 if letter.isupper() else 1.0
    if unicodedata.combining(letter):
        return 0.0
    if unicodedata.east_asian_width(letter) in "WF":
        return 2.0
    return 1.1 if letter.islower() else 1.3


def shortened(text: str, width: float) -> str:
    """Cut a text that is wider than that many digits, and show that.

    >>> shortened("Quillback Bend Farm", 40), shortened("Quillback Bend Farm", 10)
    ('Quillback Bend Farm', 'Quillback…')
    """
    if text_width(text) <= width:
        return text
    while text and text_width(text) > width - 2:
        text = text[:-1]
    return text.rstrip() + "…"


def lines(text: str, width: float, bold: bool = False) -> int:
    """Lines that a wrapped text takes in a column of that many digits' width, estimated.

    Whole words move to the next line; whether a hyphen ends one is left to the program that shows
    the text, so the more lines count.

    >>> lines("North of the Upper-Lower ditch", 13), lines("Upper-Lower", 13), lines("a b", 1)
    (3, 1, 2)
    """
    if len(text) * 1.6 < width and text.isascii() and "\n" not in text:
        return 1
    room = max(width / (1.08 if bold else 1.0), 1.0)
    parts = text.split("\n")
    count = sum(_wrapped(part.split(" "), room) for part in parts)
    if "-" not in text:
        return count
    return max(count, sum(_wrapped(HYPHENS.split(part), room) for part in parts))


def _wrapped(words: list[str], room: float) -> int:
    """Lines that words take, one behind the other; one that ends in a hyphen has no gap behind."""
    count, run, gap = 1, 0.0, 0.0
    for word in words:
        size = text_width(word)
        if run and run + gap + size > room:
            count, run = count + 1, 0.0
        count += math.ceil(size / room) - 1 if size > room else 0
        run = size % room if size > room else run + size + (gap if run else 0.0)
        gap = 0.0 if word.endswith("-") else 0.5
    return count
