"""Planning again: keep what need not change, move what pays, and say what did."""

from __future__ import annotations

from dataclasses import replace
from math import floor
from typing import TYPE_CHECKING

from planner.explain.again_changes import compared
from planner.explain.again_words import sentences
from planner.explain.paid import bags_since, containers_since, treated_since
from planner.explain.words import Speech
from planner.optimize.options import SolveOptions
from planner.plan.earlier import Earlier
from planner.plan.moves import acres_by_share, short_by_priority, shorter

if TYPE_CHECKING:
    from planner.explain.again_changes import Again
    from planner.optimize.options import Stop
    from planner.plan.plan import Plan
    from planner.season.domain import Season


def plan_again(
    season: Season,
    old: Plan | Earlier,
    cheapest: Plan,
    options: SolveOptions | None = None,
    most_moved: float | None = None,
    notes: tuple[str, ...] = (),
    stop: Stop | None = None,
) -> tuple[Plan, Again]:
    """Keep what need not change of an old plan, move what pays, and say what changed.

    Parameters
    ----------
    season
        As it is now, with what was reported done (`planner.plan.earlier.bring`). Its setting Worth
        moving says what an acre moved must save.
    old
        The plan made before, as read from its plan.json. A bare plan is taken to be of a season of
        which nothing was treated or ordered yet.
    cheapest
        What `planner.optimize.search.run.solve` returns for the season as it is now.
    options
        Time or steps for it, its gap and seed. Default 20 s.
    most_moved
        Acres that may move at the most; those that must move are moved all the same.
    notes
        Passed on to the description.
    stop
        Once set, the best plan so far is taken.

    Raises
    ------
    AuditError
        When the plan breaks a rule, which is a bug.
    """
    from planner.optimize.from_plan.acres_moved import Terms
    from planner.optimize.from_plan.stay_near import stay
    from planner.plan.audit import audit

    earlier = old if isinstance(old, Earlier) else Earlier(old)
    kept = _still_good(earlier, cheapest, season)
    known = _least_short((cheapest,) if kept is None else (kept, cheapest), season)
    terms = Terms(season.farm.worth_moving, most_moved)
    shares = acres_by_share(earlier.plan)
    found = stay(season, known, shares, terms, options or SolveOptions(20.0), stop)
    audit(found.plan, season)
    again = compared(season, earlier, found, cheapest, most_moved, notes)
    said = sentences(again, found.plan, Speech(season.farm))
    return found.plan, replace(again, sentences=said)


def _least_short(known: tuple[Plan, ...], season: Season) -> tuple[Plan, ...]:
    """Of some plans those that leave the fewest acres short, the first priorities first."""
    short = [short_by_priority(plan, season) for plan in known]
    return tuple(
        plan
        for plan, mine in zip(known, short, strict=True)
        if not any(shorter(other, mine) for other in short)
    )


def _still_good(earlier: Earlier, cheapest: Plan, season: Season) -> Plan | None:
    """Return what is left to do of the old plan, if it may still be done so."""
    from planner.errors import AuditError
    from planner.explain.held import held_plan
    from planner.plan.audit import audit

    try:
        plan = held_plan(_to_do(earlier, season), season, cheapest)
        audit(plan, season)
    except (AuditError, KeyError, ValueError):
        return None
    return plan


def _to_do(earlier: Earlier, season: Season) -> Plan:
    """Return the old plan without what was treated, ordered and bought since."""
    old = earlier.plan
    per_bag = {lot.name: lot.units_per_bag for lot in season.lots}
    done = treated_since(season, earlier)
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
    have = containers_since(season, earlier)
    order = [replace(o, count=o.count - have.get((o.product, o.container), 0)) for o in old.order]
    seed = bags_since(season, earlier)
    bags = [
        replace(s, bags=s.bags - n, units=s.units - n * per_bag[s.lot])
        for s in old.seed_purchases
        if (n := min(s.bags, seed.get(s.lot, 0))) < s.bags
    ]
    return replace(
        old,
        treating=tuple(treating),
        order=tuple(o for o in order if o.count > 0),
        seed_purchases=tuple(bags),
    )
