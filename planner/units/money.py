"""Money in words."""

from __future__ import annotations


def say_money(written: str, currency: str) -> str:
    """Put the currency before a written number, set off where it ends in a letter.

    >>> say_money("1,234.50", "$"), say_money("-80", "CHF")
    ('$1,234.50', '-CHF 80')
    """
    sign = "-" if written.startswith("-") else ""
    gap = " " if currency[-1:].isalpha() else ""
    return f"{sign}{currency}{gap}{written.removeprefix('-')}"
