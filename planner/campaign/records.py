"""What is written down: the treatment log, what is left at the end.

Sources: the fields of the log are the union of what 7 CFR 201.7a, 7 U.S.C. 1572, 7 CFR 110.3 and
common practice ask for. States may ask for more, and the product's label always counts first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.days import shift
from planner.campaign.domain import Leftover, LogLine
from planner.season.domain import POWDER
from planner.sums import summed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from planner.campaign.domain import Batch, ContainerUse, Run, Share
    from planner.plan.plan import Plan
    from planner.season.domain import Season

RETENTION = (
    "Interstate shippers keep, for 3 years, a complete record of origin, treatment, germination"
    " and purity of every lot (7 U.S.C. 1572).",
    "For treated seed that record names every substance used, with a label, invoice or other"
    " paper from the supplier, and holds a representative sample (7 CFR 201.7a).",
    "Restricted-use products: name and EPA number, amount, place, what was treated, day,"
    " applicator and certificate, kept for 2 years (7 CFR 110.3).",
    "States differ: Maryland 2 years after the lot is sold and the sample 1 year (COMAR"
    " 15.08.01.09); Washington 2 years and the sample 1 year (RCW 15.49.360). Ask your own.",
)
CAUTIONS = (
    "The product's label is the law and comes before anything on this sheet.",
    "Wear what the label asks for: gloves, eye protection, respirator, clean clothes. Wash before"
    " you eat, drink or smoke.",
    "Move air through the shop; don't breathe dust or mist.",
    "Treated seed is never food, feed or oil. Keep it apart from grain; clean trucks and bins: a"
    " single treated bean can spoil a load.",
    "Keep children and livestock away from products, treated seed, dust and spills. Cover or pick"
    " up spilled seed.",
    "Follow your state's rules for a license; a licensed person approves each recipe.",
    "No seed treatment holds white mold all season.",
)
CAUTIONS_SHORT = (
    "Label first. Wear its protective equipment; move air. Never food, feed or oil. Children and"
    " livestock away. Licensed practice only.",
)
WORTH_TELLING = 0.5
"""Least volume that counts as left, fl oz."""
UNITS_WORTH_TELLING = 0.05
"""The same of treated seed, units: less would be written as 0.0."""


def log(runs: Sequence[Run], batches: Iterable[Batch]) -> tuple[LogLine, ...]:
    """One line for every product of every run, as far as it is known beforehand."""
    by_name = {(b.lot, b.recipe): b for b in batches}
    return tuple(line for run in runs for line in _log_lines(run, by_name[run.lot, run.recipe]))


def _log_lines(run: Run, batch: Batch) -> list[LogLine]:
    last = run.last_bag
    bags = f"{run.first_bag}" if last == run.first_bag else f"{run.first_bag} to {last}"
    met = [
        p for p in batch.portions if run.first_bag < p.first_bag + p.bags and p.first_bag <= last
    ]
    fields = tuple(dict.fromkeys(name for p in met for name in p.fields))
    until = shift(run.day, batch.life) if batch.life is not None else None
    return [
        LogLine(
            day=run.day,
            lot=run.lot,
            variety=batch.variety,
            recipe=run.recipe,
            bags=bags,
            units=run.units,
            weight=run.units * batch.unit_weight,
            seeds_per_lb=batch.seeds_per_lb,
            product=draw.product,
            rate=draw.floz_per_unit,
            amount=run.units * draw.floz_per_unit,
            fields=fields,
            plant_by=until,
        )
        for draw in batch.draws
    ]


def leftovers(
    season: Season,
    plan: Plan,
    shares: Iterable[Share],
    containers: Iterable[ContainerUse],
) -> tuple[Leftover, ...]:
    """Treated seed and product that should be left, and in general terms what may be done."""
    return (
        *_seed_left(season, plan, shares),
        *_product_left(season, containers),
        *_powder_left(season, plan),
    )


def _seed_left(season: Season, plan: Plan, shares: Iterable[Share]) -> list[Leftover]:
    held = summed(((t.lot, t.recipe), t.units) for t in plan.treating)
    for before in season.treated:
        held[before.lot, before.recipe] += before.units
    for lot in season.lots:
        if lot.treated_with is not None:
            bought = sum(p.units for p in plan.seed_purchases if p.lot == lot.name)
            held[lot.name, lot.treated_with] = lot.on_hand + bought
    for s in shares:
        if (s.lot, s.recipe) in held:
            held[s.lot, s.recipe] -= s.units
    advice = (
        "Plant it (replant, cover) within its life and the limits of its tag and label, or keep it"
        " dry and cool in marked bags and test it again; getting rid of it is for the label and"
        " your state to rule. Never food, feed or oil."
    )
    return [
        Leftover(f"Treated seed of {lot}", recipe, units, "units", advice)
        for (lot, recipe), units in sorted(held.items())
        if units >= UNITS_WORTH_TELLING
    ]


def _product_left(season: Season, containers: Iterable[ContainerUse]) -> list[Leftover]:
    found = []
    for use in containers:
        if use.left < WORTH_TELLING:
            continue
        product = season.product_named[use.product]
        opened = use.drawn > 0 or use.source == "stock on hand"
        if product.kind == "inoculant" or product.on_seed_life is not None:
            advice = (
                "Inoculants and biologicals are for this season only; ask the label and the"
                " supplier what to do with what is left."
            )
        elif opened:
            advice = (
                "Keep it closed, dry, above freezing and within its date as the label says; an"
                " opened container does not go back. Note what is in it."
            )
        else:
            advice = "Closed: ask the supplier by when it can go back, else store as labeled."
        found.append(
            Leftover(
                use.product,
                f"{use.source} {'(opened)' if opened else '(closed)'}",
                use.left,
                "fl oz",
                advice,
            )
        )
    return found


def _powder_left(season: Season, plan: Plan) -> list[Leftover]:
    """What goes into the planter passes no pump, so no container of it is followed."""
    advice = (
        "Keep it closed, dry and within its date as the label says; ask the supplier whether closed"
        " packages go back."
    )
    return [
        Leftover(use.product, "all packages together", use.left, "fl oz", advice)
        for use in plan.products
        if season.product_named[use.product].kind == POWDER
        and use.need > 0.0
        and use.left >= WORTH_TELLING
    ]
