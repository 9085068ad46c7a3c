"""How a plan made again stands to the old one: fields, order, seed, money."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from planner.explain.changes import acres_short, field_changes
from planner.explain.move_steps import MoveStep, from_before, move_steps
from planner.explain.paid import bags_since, containers_since, given_up_since, paid_since
from planner.explain.spare import Spare, spare_things
from planner.explain.words import Speech
from planner.plan.moves import ACRE, acres_by_share, moved_acres, moved_by_field

if TYPE_CHECKING:
    from planner.optimize.from_plan.stay_near import Stay
    from planner.plan.earlier import Earlier
    from planner.plan.plan import Plan
    from planner.season.domain import Season


@dataclass(frozen=True, slots=True)
class FieldChange:
    """A field that is planted otherwise than in the old plan."""

    field: str
    before: str
    after: str
    acres: float
    """Of the old assignment, that it does not keep; lots that are interchangeable aside."""
    steps: tuple[int, ...] = ()
    """Of `Again.moves`, from 1, those that move it; none where it must move."""
    must: bool = False
    """It moves in the plan that moves the fewest acres, too: kept as it was, acres would stay
    short, or other fields would move in its place."""
    more: bool = False
    """Whether it keeps all it had, and more of it is planted."""
    less: bool = False
    """Whether acres of it only stay unplanted: nothing takes the place of what it had."""
    smaller: bool = False
    """Whether it only has fewer acres than in the old plan, or is no longer there."""


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
    """Bags of a lot that the old plan bought, that were bought since, that are still to buy."""

    lot: str
    old: int
    bought: int
    now: int

    @property
    def change(self) -> int:
        """Bags more (or fewer) than the old plan wanted."""
        return self.bought + self.now - self.old


@dataclass(frozen=True, slots=True)
class Again:
    """How a new plan stands to an old one."""

    moved: float
    """Acres of the old assignment that are not kept."""
    fewest: float
    """Acres that move in the plan found that moves the fewest."""
    moved_bound: float
    """Proven: every plan with as few acres short moves as many."""
    worth_moving: float
    """Money an acre that moving must save."""
    most_moved: float | None
    """Acres that were to move at the most."""
    keeping: float
    """Total of the cheapest plan found that moves only the fewest acres."""
    cheapest: float
    """Total of the cheapest plan found."""
    total: float
    old_total: float
    paid: float
    """Money paid since the old plan for containers, freight and seed."""
    given_up: float
    """Return value of the seed treated since, less that of the seed bought since."""
    more_short: float
    """Acres that stay short beyond those of the old plan; negative where there are fewer."""
    fields: tuple[FieldChange, ...]
    moves: tuple[MoveStep, ...]
    """What moves beyond what must, in steps that pay by themselves, the first ones first. What
    they save adds up to `keeping` less `total`."""
    from_before: str
    """Whether what they save comes from what changed, or was there to save before."""
    order: tuple[OrderChange, ...]
    seed: tuple[SeedChange, ...]
    spare: tuple[Spare, ...]
    notes: tuple[str, ...] = ()
    """What was brought in from the old plan's campaign, and what to look after."""
    sentences: tuple[str, ...] = ()
    """What changed, what to buy now, what can be returned or is left: in this order."""


def compared(
    season: Season,
    earlier: Earlier,
    found: Stay,
    cheapest: Plan,
    most_moved: float | None = None,
    notes: tuple[str, ...] = (),
) -> Again:
    """Describe how a plan stands to an old one."""
    old, plan = earlier.plan, found.plan
    speech = Speech(season.farm)
    fewest = moved_acres(old, found.kept, season)
    return Again(
        moved=moved_acres(old, plan, season),
        fewest=fewest,
        moved_bound=found.bound,
        worth_moving=season.farm.worth_moving,
        most_moved=most_moved,
        keeping=found.kept.cost.total,
        cheapest=min(cheapest.cost.total, plan.cost.total),
        total=plan.cost.total,
        old_total=old.cost.total,
        paid=paid_since(season, earlier),
        given_up=given_up_since(season, earlier),
        more_short=acres_short(plan) - acres_short(old),
        fields=_fields(season, old, found),
        moves=move_steps(found.steps, fewest, speech),
        from_before=from_before(found.kept.cost.total - plan.cost.total, old, speech),
        order=_order(season, earlier, plan),
        seed=_seed(season, earlier, plan),
        spare=spare_things(season, plan),
        notes=notes,
    )


def _fields(season: Season, old: Plan, found: Stay) -> tuple[FieldChange, ...]:
    before, after = acres_by_share(old), acres_by_share(found.plan)
    moved = moved_by_field(before, after, season)
    short = {s.field for s in found.plan.shortages if s.acres > ACRE}
    speech = Speech(season.farm)
    changes = []
    for name in field_changes(old, found.plan):
        acres = moved.get(name, 0.0)
        steps = tuple(n for n, step in enumerate(found.steps, 1) if name in step.fields)
        mine = {key: a for key, a in before.items() if key[0] == name}
        nothing_new = all(
            a <= before.get(key, 0.0) + ACRE for key, a in after.items() if key[0] == name
        )
        change = FieldChange(
            field=name,
            before=_shares(name, before, speech),
            after=_shares(name, after, speech),
            acres=acres,
            steps=steps,
            must=acres > ACRE and not steps,
            more=all(after.get(key, 0.0) >= a - ACRE for key, a in mine.items()),
            less=nothing_new and name in short,
            smaller=nothing_new and name not in short,
        )
        changes.append(change)
    return tuple(changes)


def _shares(field: str, acres: dict[tuple[str, str, str], float], speech: Speech) -> str:
    """Say what a field is planted with."""
    parts = [
        f"{speech.acres(a)} {lot}, {recipe}" for (f, lot, recipe), a in acres.items() if f == field
    ]
    return "; ".join(parts) or "nothing"


def _order(season: Season, earlier: Earlier, plan: Plan) -> tuple[OrderChange, ...]:
    wanted, buy = earlier.plan.counts, plan.counts
    have = containers_since(season, earlier)
    lines = []
    for c in season.containers:
        key = c.product, c.name
        line = OrderChange(
            *key, wanted.pop(key, 0), have.get(key, 0), buy.get(key, 0), c.supplier or ""
        )
        if line.old or line.on_way or line.buy:
            lines.append(line)
    lines += [OrderChange(*key, n, 0, 0) for key, n in wanted.items()]
    return tuple(lines)


def _seed(season: Season, earlier: Earlier, plan: Plan) -> tuple[SeedChange, ...]:
    old, now = earlier.plan.bags_bought, plan.bags_bought
    have = bags_since(season, earlier)
    return tuple(
        SeedChange(lot, old.get(lot, 0), have.get(lot, 0), now.get(lot, 0))
        for lot in dict.fromkeys([*old, *now])
    )
