"""The whys as plain values for plan.json: names and numbers as the records hold them."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from planner.explain.again_changes import Again
    from planner.explain.compare import Comparison
    from planner.explain.explain import Explanation

DIGITS = 6
"""Decimals that numbers keep."""


def plain(value: Any) -> Any:
    """Return records, enums and tuples as dictionaries, words and lists.

    >>> plain((("keg", 2), 1.23456789))
    [['keg', 2], 1.234568]
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        return {name: plain(getattr(value, name)) for name in value._fields}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return round(value, DIGITS) + 0.0
    return value


def to_dict(why: Explanation) -> dict[str, Any]:
    """Return the keys that an explanation adds to plan.json; those without content are left out."""
    found: dict[str, Any] = {
        "short_fields": plain(why.shortages),
        "repairs": plain(why.repairs),
        "enough_for_disease": plain(why.threats),
        "order_rivals": plain(why.order),
        "rule_costs": plain(why.rules),
        "most_to_spend": plain(why.money),
        "overlooked": "" if why.again is not None else why.overlooked,
        "worth_treating": plain(why.worth),
        "bought_treated": plain(why.bought_treated),
    }
    if why.compared is not None:
        found["what_if"] = comparison(why.compared)
    if why.again is not None:
        found["planning_again"] = again(why.again)
    return {key: value for key, value in found.items() if value}


def comparison(compared: Comparison) -> dict[str, Any]:
    """Return plans side by side; every line says whether the plans differ in it."""
    result: dict[str, Any] = plain(compared)
    for part, record in zip(result["parts"], compared.parts, strict=True):
        for line, own in zip(part["lines"], record.lines, strict=True):
            line["differs"] = own.differs
    return result


def again(record: Again) -> dict[str, Any]:
    """Return what planning again changed."""
    result: dict[str, Any] = plain(record)
    for line, own in zip(result["order"], record.order, strict=True):
        line["change"] = own.change
    for line, seed in zip(result["seed"], record.seed, strict=True):
        line["change"] = seed.change
    return result
