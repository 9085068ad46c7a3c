"""What a plan costs, as named terms over the model's variables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planner.optimize.model.constraints import weighted

if TYPE_CHECKING:
    from planner.optimize.model.instance import Instance
    from planner.optimize.model.variables import Variables

Expression = Any


def containers(v: Variables, it: Instance) -> Expression:
    """Containers at their break price."""
    return weighted((it.containers[i].breaks[j].price, n) for (i, j), n in v.count.items())


def freight(v: Variables, it: Instance) -> Expression:
    """Freight of suppliers ordered from, less where it is free."""
    paid = [(it.suppliers[s].freight, x) for s, x in v.ordered.items()]
    free = [(-it.suppliers[s].freight, x) for s, x in v.freight_free.items()]
    return weighted([*paid, *free])


def discounts(v: Variables, it: Instance) -> Expression:
    """Money that discounts take off (subtracted from the total)."""
    del it
    return weighted((1.0, x) for x in v.discount.values())


def seed_bought(v: Variables, it: Instance) -> Expression:
    """Bags of seed bought at the lot's price."""
    return weighted(
        (it.lots[lot].units_per_bag * it.lots[lot].buy_price, b) for lot, b in v.bought.items()
    )


def seed_given_up(v: Variables, it: Instance) -> Expression:
    """Return value of units treated or planted untreated, less the units bought."""
    terms: list[tuple[float, Any]] = []
    for (lot, _), x in v.bags.items():
        terms.append((it.lots[lot].return_value * it.lots[lot].units_per_bag, x))
    for (lot, _), q in v.part.items():
        terms.append((it.lots[lot].return_value * float(it.part_bag[lot]), q))
    for lot, b in v.bought.items():
        if it.treatable(lot):
            terms.append((-it.lots[lot].return_value * it.lots[lot].units_per_bag, b))
    c = v.choices
    for t, (lot, k) in enumerate(zip(c.lot.tolist(), c.recipe.tolist(), strict=True)):
        if k == it.untreated:
            terms.append((it.lots[lot].return_value * c.units[t], v.acres[t]))
    return weighted(terms)


def carryover_credit(v: Variables, it: Instance) -> Expression:
    """What is left, at its carryover value (subtracted from the total)."""
    return weighted(zip((it.credit * it.lump).tolist(), v.left, strict=True))


def yield_loss(v: Variables, it: Instance) -> Expression:
    """Bushels that weaker protection is expected to cost, at the farm's price."""
    del it
    return weighted(zip(v.choices.loss.tolist(), v.acres, strict=True))


def cost_terms(v: Variables, it: Instance) -> dict[str, Expression]:
    """Every term by its name in the plan; discounts and carryover credit come negative."""
    return {
        "containers": containers(v, it),
        "freight": freight(v, it),
        "discounts": -discounts(v, it),
        "seed_bought": seed_bought(v, it),
        "seed_given_up": seed_given_up(v, it),
        "carryover_credit": -carryover_credit(v, it),
        "yield_loss": yield_loss(v, it),
    }
