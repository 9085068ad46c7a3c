"""What wants to be said about a campaign before anyone goes to the shop."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planner.campaign.calibration import ML_PER_FLOZ
from planner.campaign.clock import BEFORE
from planner.season.domain import UNTREATED

if TYPE_CHECKING:
    from planner.campaign.domain import Batch, Campaign, Portion

MOST_NAMED = 12
"""Fields that a note names."""


def notes(campaign: Campaign) -> tuple[str, ...]:
    """Say everything that is wrong, missing or only assumed; what is urgent comes first."""
    if not campaign.batches:
        return ()
    return (
        *_late(campaign),
        *_no_day(campaign),
        *_not_approved(campaign),
        *_old_stock(campaign),
        *_clock(campaign),
        *_order(campaign),
        *_missing(campaign),
    )


def _late(campaign: Campaign) -> list[str]:
    calendar = campaign.calendar
    if not calendar.late:
        return []
    many = "bag is" if calendar.late == 1 else "bags are"
    told = [f"The days don't suffice: {calendar.late} {many} too many{_proof(campaign)}."]
    if calendar.remedies:
        told.append("What would do, the order kept: " + "; or ".join(calendar.remedies) + ".")
    else:
        told.append("No single change of days, bags a day or floor space would do.")
    return told


def _proof(campaign: Campaign) -> str:
    floor = campaign.calendar.late_floor
    if campaign.calendar.late == floor:
        return ", and no other order would do better"
    least = f"; at least {floor} in any order" if floor else ""
    if campaign.order.exact:
        return f", the fewest as long as recipes are not taken up twice{least}"
    return least


def _no_day(campaign: Campaign) -> list[str]:
    return [
        f"{b.lot} with {b.recipe}, {_bags(p)}: no day fits. It must be treated by"
        f" {p.latest.isoformat()} to be cured, and not before {p.earliest.isoformat()} to be alive"
        f" ({b.life} days on the seed). Plant its fields nearer together, or cure it less."
        for b, p in _portions(campaign)
        if p.earliest and p.latest and p.earliest > p.latest
    ]


def _not_approved(campaign: Campaign) -> list[str]:
    open_ = [c for c in campaign.cards if not c.approved_by and c.needed_by]
    if not open_:
        return []
    names = "; ".join(f"{c.recipe} (before {c.needed_by})" for c in open_)
    return [f"Recipes without the approval of a licensed person: {names}."]


def _old_stock(campaign: Campaign) -> list[str]:
    return [f"{c.product}, {c.source}: {c.note}." for c in campaign.drawdown.containers if c.note]


def _clock(campaign: Campaign) -> list[str]:
    seen = [p for p in campaign.clock if p.note and not p.note.startswith(BEFORE)]
    before = sorted({p.field for p in campaign.clock if p.note.startswith(BEFORE)})
    told = [f"{p.field}, {p.lot} with {p.recipe}: {p.note}." for p in seen]
    if before:
        told.append(
            f"Some seed was treated before this plan; its own cure and life count too, on:"
            f" {'; '.join(before)}."
        )
    return told


def _order(campaign: Campaign) -> list[str]:
    order = campaign.order
    told = []
    if not order.exact:
        told.append(
            f"So many recipes that not every order was tried: changes take {order.minutes:.0f}"
            f" minutes, and no order takes less than {order.floor_minutes:.0f}."
        )
    saved = order.planned_loss - order.loss
    if saved > 0.05:
        told.append(
            f"Products that stay on the line between recipes may save {_volume(campaign, saved)}"
            " of the line losses that the plan counts; the list of containers counts them all."
        )
    recipes = [r.recipe for r in campaign.calendar.runs]
    turns = sum(1 for a, b in zip(["", *recipes], recipes, strict=False) if a != b)
    if turns > len(set(recipes)):
        told.append(
            "A recipe is taken up again after another one: each time costs its line loss once more,"
            " which the plan does not hold. Look after the levels."
        )
    return told


def _volume(campaign: Campaign, floz: float) -> str:
    return f"{floz * ML_PER_FLOZ:.0f} mL" if campaign.shop.metric else f"{floz:.1f} fl oz"


def _missing(campaign: Campaign) -> list[str]:
    shop = campaign.shop
    told = []
    if shop.bags_per_day is None:
        told.append("Bags per day is not given: bags stand on the first day that is open to them.")
    if shop.seed_flow is None:
        told.append("Seed flow is not given: calibration sheets show amounts a bag, none a minute.")
    undated = sorted(
        {s.field for s in campaign.shares if s.planting is None and s.recipe != UNTREATED}
    )
    if undated:
        named = ", ".join(undated[:MOST_NAMED])
        named += f" and {len(undated) - MOST_NAMED} more" if len(undated) > MOST_NAMED else ""
        told.append(
            f"No planting date, so no last day: {named}. Their bags count as leaving the floor "
            "when they are cured."
        )
    return told


def _portions(campaign: Campaign) -> list[tuple[Batch, Portion]]:
    return [(b, p) for b in campaign.batches for p in b.portions]


def _bags(portion: Portion) -> str:
    last = portion.first_bag + portion.bags - 1
    return f"bag {last}" if portion.bags == 1 else f"bags {portion.first_bag} to {last}"
