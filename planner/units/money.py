"""Money in words and in whole cents."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

CENTS = 100


def say_money(written: str, currency: str) -> str:
    """Put the currency before a written number, set off where it ends in a letter.

    >>> say_money("1,234.50", "$"), say_money("-80", "CHF")
    ('$1,234.50', '-CHF 80')
    """
    sign = "-" if written.startswith("-") else ""
    gap = " " if currency[-1:].isalpha() else ""
    return f"{sign}{currency}{gap}{written.removeprefix('-')}"


def cents(amount: float) -> int:
    """Round money to whole cents, halves away from zero, as a spreadsheet does: by 15 digits.

    >>> cents(1.005), cents(-2.499), cents(675.43499999622)
    (101, -250, 67543)
    """
    return int((Decimal(f"{amount:.15g}") * CENTS).to_integral_value(ROUND_HALF_UP))
