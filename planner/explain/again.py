"""Planning again: keep what need not change, and say what did."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import floor
from typing import TYPE_CHECKING

from planner.explain.changes import (
    ACRE,
    acres_by_share,
    acres_short,
    field_changes,
    moved_acres,
)
from planner.explain.spare import Spare, left_words, spare_things
from planner.explain.words import Speech, count, listing
from planner.optimize.options import SolveOptions

if TYPE_CHECKING:
    from planner.optimize.options import Stop
    from planner.plan.plan import Plan
    from planner.season.domain import Season

STAYING = 1e-3
"""Share of the cost that staying near the old plan may take."""
CENT = 0.01


@dataclass(frozen=True, slots=True)
class FieldChange:
    """A field that is planted otherwise than in the old plan."""

    field: str
    before: str
    after: str
    acres: float
    """Of the old assignment, that it does not keep."""


@dataclass(frozen=True, slots=True)
class OrderChange:
    """Containers of one kind: ordered in the old plan, on their way, still to buy."""

    product: str
    container: str
    old: int
    """Of the old plan; what was on its way even then is not in it."""
    on_way: int
    """Ordered since."""
    buy: int
    supplier: str = ""

    @property
    def change(self) -> int:
        """Containers more (or fewer) than the old plan wanted."""
        return self.on_way + self.buy - self.old


@dataclass(frozen=True, slots=True)
class SeedChange:
    """Bags of a lot to buy in the old plan and now, where they differ."""

    lot: str
    old: int
    now: int


@dataclass(frozen=True, slots=True)
class Again:
    """How a new plan stands to an old one."""

    moved: float
    """Acres of the old assignment that are not kept."""
    moved_floor: float
    """Proven: every plan within the cost allowed moves as many."""
    allowed: float
    """Cost allowed over the cheapest, as a share."""
    cheapest: float
    """Total of the cheapest plan found."""
    total: float
    old_total: float
    fields: tuple[FieldChange, ...]
    order: tuple[OrderChange, ...]
    seed: tuple[SeedChange, ...]
    spare: tuple[Spare, ...]
    sentences: tuple[str, ...]
    """What changed, what to buy now, what can be returned or is left: in this order."""


def plan_again(
    season: Season,
    old: Plan,
    cheapest: Plan,
    options: SolveOptions | None = None,
    allowed: float = STAYING,
    stop: Stop | None = None,
) -> tuple[Plan, Again]:
    """Return the plan within a cost of the cheapest that moves the fewest acres, and what changed.

    Parameters
    ----------
    old
        The plan made before, as read from its plan.json.
    cheapest
        What `planner.optimize.search.solve` returns for the season as it is now.
    allowed
        Cost over the cheapest that staying may take, as a share of its total.
    """
    from planner.optimize.stay import stay
    from planner.plan.audit import audit

    limit = cheapest.cost.total + allowed * abs(cheapest.cost.total)
    shares = acres_by_share(old)
    kept = _still_good(old, cheapest, season, limit)
    plan, least = kept or cheapest, 0.0
    if kept is None and moved_acres(old, cheapest) > ACRE:
        found = stay(season, cheapest, shares, limit, options or SolveOptions(20.0), stop)
        plan, least = found.plan, found.moved_floor
        audit(plan, season)
    return plan, told_again(season, old, plan, cheapest, allowed, least)


def _still_good(old: Plan, cheapest: Plan, season: Season, limit: float) -> Plan | None:
    """Return what is left to do of the old plan, counted anew, if it may still be done so."""
    from planner.errors import AuditError
    from planner.explain.held import held_plan
    from planner.plan.audit import audit

    if acres_short(old) > acres_short(cheapest) + ACRE:
        return None
    try:
        plan = held_plan(_to_do(old, season), season, cheapest)
        audit(plan, season)
    except (AuditError, KeyError, ValueError):
        return None
    return plan if plan.cost.total <= limit + CENT / 2.0 else None


def _to_do(old: Plan, season: Season) -> Plan:
    """Return the old plan without the bags treated and the containers ordered since."""
    per_bag = {lot.name: lot.units_per_bag for lot in season.lots}
    done: dict[tuple[str, str], float] = {}
    for t in season.treated:
        done[t.lot, t.recipe] = done.get((t.lot, t.recipe), 0.0) + t.units
    treating = []
    for row in old.treating:
        units = min(row.units, done.get((row.lot, row.recipe), 0.0))
        full = min(row.full_bags, floor(units / per_bag[row.lot] + 1e-9))
        part = row.part_bag and units - full * per_bag[row.lot] <= 1e-6
        left = replace(
            row, full_bags=row.full_bags - full, part_bag=int(part), units=row.units - units
        )
        if left.full_bags or left.part_bag:
            treating.append(left)
    coming: dict[tuple[str, str], int] = {}
    for o in season.ordered:
        coming[o.product, o.container] = coming.get((o.product, o.container), 0) + o.count
    order = [
        replace(o, count=max(0, o.count - coming.get((o.product, o.container), 0)))
        for o in old.order
    ]
    return replace(old, treating=tuple(treating), order=tuple(o for o in order if o.count))


def told_again(
    season: Season, old: Plan, plan: Plan, cheapest: Plan, allowed: float, least: float
) -> Again:
    """Describe how a plan stands to an old one."""
    order = _order(season, old, plan)
    spare = spare_things(season, plan)
    result = Again(
        moved=moved_acres(old, plan),
        moved_floor=least,
        allowed=allowed,
        cheapest=cheapest.cost.total,
        total=plan.cost.total,
        old_total=old.cost.total,
        fields=_fields(old, plan, Speech(season.farm)),
        order=order,
        seed=_seed(old, plan),
        spare=spare,
        sentences=(),
    )
    speech = Speech(season.farm)
    words = (_changed(result, speech), _buy_now(result, plan, speech), left_words(result.spare))
    return replace(result, sentences=words)


def _fields(old: Plan, plan: Plan, speech: Speech) -> tuple[FieldChange, ...]:
    before, after = acres_by_share(old), acres_by_share(plan)
    changes = []
    for name in field_changes(old, plan):
        lost = sum(max(0.0, a - after.get(key, 0.0)) for key, a in before.items() if key[0] == name)
        changes.append(
            FieldChange(name, _shares(name, before, speech), _shares(name, after, speech), lost)
        )
    return tuple(changes)


def _shares(field: str, acres: dict[tuple[str, str, str], float], speech: Speech) -> str:
    """Say what a field is planted with."""
    parts = [
        f"{speech.acres(a)} {lot}, {recipe}" for (f, lot, recipe), a in acres.items() if f == field
    ]
    return "; ".join(parts) or "nothing"


def _order(season: Season, old: Plan, plan: Plan) -> tuple[OrderChange, ...]:
    wanted = {(o.product, o.container): o.count for o in old.order}
    buy = {(o.product, o.container): o.count for o in plan.order}
    coming: dict[tuple[str, str], int] = {}
    for o in season.ordered:
        key = o.product, o.container
        coming[key] = coming.get(key, 0) + o.count
    for key, n in _on_way_before(season, old, wanted, coming).items():
        coming[key] -= n
    lines = []
    for c in season.containers:
        key = c.product, c.name
        line = OrderChange(
            *key, wanted.pop(key, 0), coming.get(key, 0), buy.get(key, 0), c.supplier or ""
        )
        if line.old or line.on_way or line.buy:
            lines.append(line)
    lines += [OrderChange(*key, n, 0, 0) for key, n in wanted.items()]
    return tuple(lines)


def _seed(old: Plan, plan: Plan) -> tuple[SeedChange, ...]:
    before = {s.lot: s.bags for s in old.seed_purchases}
    now = {s.lot: s.bags for s in plan.seed_purchases}
    lots = dict.fromkeys([*before, *now])
    changes = (SeedChange(lot, before.get(lot, 0), now.get(lot, 0)) for lot in lots)
    return tuple(c for c in changes if c.old != c.now)


def _on_way_before(
    season: Season,
    old: Plan,
    wanted: dict[tuple[str, str], int],
    coming: dict[tuple[str, str], int],
) -> dict[tuple[str, str], int]:
    """Containers on their way that the old plan already counted with, by its volumes.

    Those that the old plan did not order itself are taken for them first.
    """
    volume = {u.product: u.on_its_way for u in old.products}
    usable = {(c.product, c.name): c.size - c.heel for c in season.containers}
    before: dict[tuple[str, str], int] = {}
    for key in sorted(coming, key=lambda k: (wanted.get(k, 0) - coming[k], k)):
        size, left = usable[key], volume.get(key[0], 0.0)
        n = min(coming[key], floor(left / size + 1e-6)) if size > 0 else 0
        if n:
            before[key] = n
            volume[key[0]] = left - n * size
    return before


def _changed(again: Again, speech: Speech) -> str:
    """Say what changed."""
    changed = [line for line in again.order if line.change]
    text = "Every field keeps its seed and recipe."
    if again.fields:
        text = (
            f"{count(len(again.fields), 'field')} would be planted otherwise "
            f"({listing([f.field for f in again.fields])}), {speech.acres(again.moved)} in all"
        )
        if again.moved - again.moved_floor <= ACRE + 1e-4 * again.moved:
            text += "; no plan at this cost moves fewer."
        else:
            text += f"; at least {speech.acres(again.moved_floor)} must move."
    elif not changed and not again.seed:
        text = "Nothing changes: every field keeps its seed and recipe, and the order stands."
    lines = [f"{line.change:+d} {line.container} of {line.product}" for line in changed]
    lines += [
        f"{c.now - c.old:+d} {'bag' if abs(c.now - c.old) == 1 else 'bags'} of {c.lot}"
        for c in again.seed
    ]
    if lines:
        text += f" The order changes: {listing(lines)}."
    elif again.fields:
        text += " The order stands."
    return text + _costs(again, speech)


def _costs(again: Again, speech: Speech) -> str:
    """Say what the change and staying cost."""
    text = ""
    change, over = again.total - again.old_total, again.total - again.cheapest
    if abs(change) >= CENT:
        text = f" The plan costs {speech.money(abs(change))} {'more' if change > 0 else 'less'}"
        text += " than the old one"
        text += ", what is on its way not counted." if any(x.on_way for x in again.order) else "."
    if over >= CENT:
        text += f" Staying costs {speech.money(over)} over the cheapest plan."
    return text


def _buy_now(again: Again, plan: Plan, speech: Speech) -> str:
    """Say what is still to be bought."""
    lines = [f"{line.buy} x {line.container} of {line.product}" for line in again.order if line.buy]
    lines += [f"{count(s.bags, 'bag')} of {s.lot}" for s in plan.seed_purchases]
    if not lines:
        return "To buy now: nothing."
    now = plan.cost.containers + plan.cost.freight - plan.cost.discounts + plan.cost.seed_bought
    return f"To buy now: {'; '.join(lines)}: {speech.money(now)}."
