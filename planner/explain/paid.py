"""What has been bought and treated since an earlier plan, and what of its cost that settles.

So a new plan no longer counts it: what was paid, and seed given up by treating it.
"""

from __future__ import annotations

from math import floor
from typing import TYPE_CHECKING

from planner.plan.earlier import SPILT, by_seed, delivered, sheets_of
from planner.plan.price import order_cost, sold_by_any_count, took_by_product
from planner.sums import summed

if TYPE_CHECKING:
    from planner.plan.earlier import Earlier
    from planner.season.domain import Season

CRUMB = 1e-6

Counts = dict[tuple[str, str], int]


def treated_since(season: Season, earlier: Earlier) -> dict[tuple[str, str], float]:
    """Units treated since the earlier plan, by (lot, recipe)."""
    now = by_seed(season.treated)
    since = {key: units - earlier.before.get(key, 0.0) for key, units in now.items()}
    return {key: units for key, units in since.items() if units > CRUMB}


def containers_since(season: Season, earlier: Earlier) -> Counts:
    """Containers bought since the earlier plan: on their way, or delivered to the stock on hand."""
    now = sheets_of(season).ordered
    before = earlier.sheets.ordered if earlier.sheets.seed else _on_way_before(season, earlier)
    since = {key: n - before.get(key, 0) for key, n in now.items() if n > before.get(key, 0)}
    if not earlier.sheets.seed:
        return since
    for key, n in _delivered(season, earlier, since).items():
        since[key] = since.get(key, 0) + n
    return since


def _delivered(season: Season, earlier: Earlier, since: Counts) -> Counts:
    """Containers of the old order that On hand holds now, by what it has grown."""
    now, before = sheets_of(season), earlier.sheets
    took = took_by_product(treated_since(season, earlier).items(), season)
    usable = {key: c.usable for key, c in season.container_named.items()}
    found: Counts = {}
    for product, on_hand in now.on_hand.items():
        whole = delivered(product, season, earlier)
        if whole is not None:
            for key, n in whole.items():
                new = n - max(0, before.ordered.get(key, 0) - now.ordered.get(key, 0))
                if new > 0:
                    found[key] = new
            continue
        grown = on_hand - before.on_hand.get(product, 0.0) + took.get(product, 0.0)
        for key, n in before.ordered.items():
            if key[0] == product and key in usable:
                grown -= max(0, n - now.ordered.get(key, 0)) * usable[key]
        mine = [o for o in earlier.plan.order if o.product == product]
        for o in sorted(mine, key=lambda o: -usable.get((o.product, o.container), 0.0)):
            key = o.product, o.container
            size = usable.get(key, 0.0)
            n = min(o.count - since.get(key, 0), floor(grown / size + SPILT)) if size > 0 else 0
            if n > 0:
                found[key] = n
                grown -= n * size
    return found


def _on_way_before(season: Season, earlier: Earlier) -> Counts:
    """Containers on their way that the earlier plan already counted with, by its volumes.

    Those that it did not order itself are taken for them first.
    """
    coming = sheets_of(season).ordered
    wanted = earlier.plan.counts
    volume = {u.product: u.on_its_way for u in earlier.plan.products}
    before: Counts = {}
    for key in sorted(coming, key=lambda k: (wanted.get(k, 0) - coming[k], k)):
        size, left = season.container_named[key].usable, volume.get(key[0], 0.0)
        n = min(coming[key], floor(left / size + CRUMB)) if size > 0 else 0
        if n:
            before[key] = n
            volume[key[0]] = left - n * size
    return before


def bags_since(season: Season, earlier: Earlier) -> dict[str, int]:
    """Bags that the earlier plan bought and that are on hand now, by how that has grown."""
    found = {}
    for s in earlier.plan.seed_purchases:
        before = earlier.sheets.seed.get(s.lot)
        if s.lot in season.lot_named and before is not None:
            lot = season.lot_named[s.lot]
            n = floor((lot.on_hand - before) / lot.units_per_bag + CRUMB)
            if n > 0:
                found[s.lot] = n
    return found


def paid_since(season: Season, earlier: Earlier) -> float:
    """Money paid since an earlier plan: containers with freight and discounts, and seed bought.

    Where fewer came than the lowest From count, each cost what it does from there on.
    """
    old = earlier.plan
    have = containers_since(season, earlier)
    if have == old.counts:
        paid = old.cost.for_product
    else:
        paid = order_cost(sold_by_any_count(season, have), have).paid
    each = {s.lot: s.cost / s.bags for s in old.seed_purchases}
    return paid + sum(bags * each[lot] for lot, bags in bags_since(season, earlier).items())


def given_up_since(season: Season, earlier: Earlier) -> float:
    """Return value of seed treated since an earlier plan, less that of seed bought since.

    A bag that is on hand now is given up by treating it, where the earlier plan bought it for that.
    """
    worth = {x.name: x.worth_untreated for x in season.lots}
    units = summed((lot, amount) for (lot, _), amount in treated_since(season, earlier).items())
    size = {s.lot: s.units / s.bags for s in earlier.plan.seed_purchases}
    for lot, bags in bags_since(season, earlier).items():
        units[lot] -= bags * size[lot]
    return sum(worth[lot] * amount for lot, amount in units.items())
