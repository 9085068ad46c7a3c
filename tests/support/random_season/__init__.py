"""Random seasons of several kinds; the same arguments always give the same season.

``tiny_season(seed)`` is small enough for brute force and uses every optional sheet, with some
chance each; ``fuller_season(seed)`` has later rules besides. ``hard_season(fields, lots, recipes,
varieties_a_field, seed)`` has any size and few choices that are cheap. ``full_season(seed)`` is a
hard one of 8 to 16 fields with every optional sheet in use; ``shop_season(seed)`` such a one whose
line stays primed and whose money is limited.
"""

from tests.support.random_season.full import full_season
from tests.support.random_season.hard import hard_season
from tests.support.random_season.shop import shop_season
from tests.support.random_season.tiny import fuller_season, tiny_season, with_lot_share

__all__ = [
    "full_season",
    "fuller_season",
    "hard_season",
    "shop_season",
    "tiny_season",
    "with_lot_share",
]
