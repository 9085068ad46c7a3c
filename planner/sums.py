"""Amounts added up, and things put together, by what they have in common."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable

Key = TypeVar("Key")
Item = TypeVar("Item")


def summed(amounts: Iterable[tuple[Key, float]]) -> defaultdict[Key, float]:
    """Add up amounts by key, in the order in which keys come; zero for any other key.

    >>> dict(summed([("keg", 2.0), ("drum", 1.0), ("keg", 0.5)]))
    {'keg': 2.5, 'drum': 1.0}
    """
    total: defaultdict[Key, float] = defaultdict(float)
    for key, amount in amounts:
        total[key] += amount
    return total


def grouped(items: Iterable[tuple[Key, Item]]) -> defaultdict[Key, list[Item]]:
    """Put items together by key, in the order in which they come; none for any other key.

    >>> dict(grouped([("keg", 1), ("drum", 2), ("keg", 3)]))
    {'keg': [1, 3], 'drum': [2]}
    """
    groups: defaultdict[Key, list[Item]] = defaultdict(list)
    for key, item in items:
        groups[key].append(item)
    return groups
