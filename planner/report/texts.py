"""Texts that a cell can hold and that stay texts."""

from __future__ import annotations

import re

from planner.report.sheets import MAX_TEXT

CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
CUT = " ... (cut: too long for a cell)"
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "'")


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


def risky(text: str) -> bool:
    """Tell whether a spreadsheet would take the text for a formula if it were typed in.

    >>> risky("=1+1"), risky("North 80")
    (True, False)
    """
    return text.startswith(RISKY)
