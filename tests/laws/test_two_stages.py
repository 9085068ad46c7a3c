"""Laws of two stages on random small seasons, every scenario and every order enumerated."""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from planner import api
from planner.risk.candidates import possible
from planner.risk.floors import Tolls
from planner.risk.order import Order, ordered_by
from planner.risk.second_stage import SecondStage
from planner.risk.statistics import values
from planner.risk.tolls import balanced
from planner.risk.turned_out import AS_PLANNED, Turn
from planner.season.domain import Quantity, Season
from tests.support.inputs import csv_files
from tests.support.quick import few


def written(folder: Path, rng: np.random.Generator) -> None:
    """Two fields, two lots of one variety, a product in two sizes; prices and returns at random."""
    jug, keg = (float(rng.integers(80, 140)), float(rng.integers(150, 320)))
    late = [round(p * rng.uniform(1.0, 1.5), 2) for p in (jug, keg)]
    back = [int(rng.integers(0, 100)) for _ in range(2)]
    texts = {
        "farm.csv": "Setting,Value\nFarm name,Two\nPlan date,2027-01-15\n"
        f"Cost of a short acre,{int(rng.integers(5, 60))}\n",
        "fields.csv": "Field,Acres,Seeding rate\n"
        f"A,{int(rng.integers(20, 60))},140000\nB,{int(rng.integers(20, 60))},150000\n",
        "seed lots.csv": "Lot,Variety,Maturity,Units on hand,Units per bag,Seeds per lb\n"
        f"L-1,Heron,1.8,{int(rng.integers(2, 4)) * 20},20,2800\n"
        f"L-2,Heron,1.8,{int(rng.integers(1, 4)) * 20},20,2600\n",
        "products.csv": "Product,Kind\nGreen Cap,fungicide\n",
        "recipes.csv": "Recipe,Product,Rate\nBase,Green Cap,4 fl oz/cwt\n",
        "containers.csv": "Product,Container,Size,Price,Late price,Returned for\n"
        f"Green Cap,jug,1 gal,{jug},{late[0]},{back[0]}%\n"
        f"Green Cap,keg,2.5 gal,{keg},{late[1]},{back[1]}%\n",
    }
    csv_files(folder, texts)


def up_to(jugs: int, kegs: int) -> list[Order]:
    """Every order of fewer jugs and kegs than that."""
    return [
        Order(tuple(("Green Cap", k, n) for k, n in zip(("jug", "keg"), ns, strict=True) if n))
        for ns in itertools.product(range(jugs), range(kegs))
    ]


def four(*used: float) -> list[Turn]:
    """Draws of two uses of the product, each with two sizes of the first lot's seed."""
    return [
        Turn({(Quantity.PRODUCT_USED, "Green Cap"): one, (Quantity.SEEDS_PER_LB, "L-1"): size})
        for one, size in itertools.product(used, (0.95, 1.05))
    ]


@pytest.mark.parametrize("number", few(range(6), 3))
def test_knowing_costs_no_more_than_planning_and_planning_than_neither(
    tmp_path: Path, number: int
) -> None:
    """WS <= RP <= EEV: A. Madansky, Management Science 6, 1960, from memory."""
    rng = np.random.default_rng(number)
    written(tmp_path / "season", rng)
    season = api.load(tmp_path / "season")
    turns = four(0.9, 1.15)
    weights = rng.dirichlet(np.ones(len(turns)))
    stage = SecondStage(season, gap=0.0)
    orders = up_to(5, 3)
    table = np.array([[stage.outcome(o, t).value for t in turns] for o in orders])
    floors = [stage.floor(t) for t in turns]
    mean = orders.index(stage.floor(AS_PLANNED).order)
    found = values(table, np.array([f.value for f in floors]), mean, weights)
    assert found.knowing <= found.recourse + 1e-6
    assert found.recourse <= found.planned + 1e-6
    for column, floor in enumerate(floors):
        assert floor.floor <= table[:, column].min() + 1e-6
        at_best = table[:, column].min()
        assert floor.value == pytest.approx(at_best, abs=1e-4) or floor.value < at_best


@pytest.mark.parametrize("number", few(range(6), 3))
def test_no_floor_is_above_any_orders_cost_where_few_are_not_sold(
    tmp_path: Path, number: int
) -> None:
    """More is ordered than is needed where no fewer are sold; what is too many goes back."""
    rng = np.random.default_rng(200 + number)
    written(tmp_path / "season", rng)
    season = _sold_from_a_count(api.load(tmp_path / "season"), rng)
    stage = SecondStage(season, gap=0.0)
    orders = [order for order in up_to(7, 4) if possible(season, order)]
    for used in (0.5, 1.0, 1.5):
        turn = Turn({(Quantity.PRODUCT_USED, "Green Cap"): used})
        least = min(stage.outcome(order, turn).value for order in orders)
        assert stage.floor(turn).floor <= least + 1e-6


def _sold_from_a_count(season: Season, rng: np.random.Generator) -> Season:
    """The same with containers from a count up only, dear when late, most of the price back."""
    containers = tuple(
        replace(
            c,
            breaks=(replace(c.breaks[0], from_count=int(rng.integers(2, 6))),),
            late_price=c.breaks[0].price * float(rng.uniform(1.5, 4.0)),
            returned_for=float(rng.uniform(0.6, 0.99)),
        )
        for c in season.containers
    )
    return replace(season, containers=containers)


@pytest.mark.parametrize("number", few(range(6), 3))
def test_with_tolls_that_come_to_nought_no_order_costs_less_than_the_floor(
    tmp_path: Path, number: int
) -> None:
    """Weak duality: tolls with a mean of nought charge no order, so the floor still holds.

    Any tolls within what a container too many costs at the least.
    """
    rng = np.random.default_rng(100 + number)
    written(tmp_path / "season", rng)
    season = _with_seed_for_sale(api.load(tmp_path / "season"), rng)
    turns = four(0.9, 1.15)
    weights = rng.dirichlet(np.ones(len(turns)))
    each = rng.uniform(-1.0, 1.0, size=len(turns))
    each -= each @ weights
    most = min((1.0 - c.returned_for) * c.breaks[0].price / c.size for c in season.containers)
    each *= most / np.abs(each).max()
    tolls = [Tolls({"Green Cap": x}) for x in each.tolist()]
    stage = SecondStage(season, gap=0.0)
    floors = np.array([stage.floor(t, x).floor for t, x in zip(turns, tolls, strict=True)])
    orders = [replace(o, seed=seed) for o in up_to(5, 3) for seed in ((), (("L-1", 1),))]
    means = [
        float(weights @ [stage.outcome(order, turn).value for turn in turns]) for order in orders
    ]
    assert float(weights @ floors) <= min(means) + 1e-6
    for order in orders:
        charged = float(weights @ [x.on(season, order) for x in tolls])
        assert charged == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("number", few(range(6), 3))
def test_tolls_of_a_batch_leave_the_floor_between_knowing_and_the_best_order(
    tmp_path: Path, number: int
) -> None:
    """Weak duality again, for the tolls that are made for a batch, on seed as well."""
    rng = np.random.default_rng(300 + number)
    written(tmp_path / "season", rng)
    season = _with_seed_for_sale(api.load(tmp_path / "season"), rng)
    turns = four(0.8, 1.3)
    stage = SecondStage(season, gap=0.0)
    orders = [replace(o, seed=seed) for o in up_to(5, 3) for seed in ((), (("L-1", 1),))]
    costs = np.array([[stage.outcome(o, t).value for o in orders] for t in turns])
    tolls = balanced(season, orders, costs)
    floors = [stage.floor(t, x).floor for t, x in zip(turns, tolls, strict=True)]
    knowing, least = costs.min(axis=1).mean(), costs.mean(axis=0).min()
    assert np.mean([stage.floor(t).floor for t in turns]) <= np.mean(floors) + 1e-6
    assert np.mean(floors) <= least + 1e-6
    assert np.mean(floors) >= knowing - 1e-6, "there is no order that was not tried"


def _with_seed_for_sale(season: Season, rng: np.random.Generator) -> Season:
    """The same with a bag of the first lot for sale, early and late."""
    early = float(rng.integers(1, 20))
    lots = tuple(
        replace(x, can_buy=x.units_per_bag, buy_price=early, late_price=early * 1.3)
        if x.name == "L-1"
        else x
        for x in season.lots
    )
    return replace(season, lots=lots)


def test_without_surprises_the_second_stage_is_the_plan(tmp_path: Path) -> None:
    """As planned, deciding again costs what the plan costs: all was known."""
    written(tmp_path / "season", np.random.default_rng(99))
    season = api.load(tmp_path / "season")
    plan = api.make_plan(season, seconds=5)
    stage = SecondStage(season, gap=0.0)
    found = stage.outcome(ordered_by(plan), AS_PLANNED)
    short = sum(s.acres for s in plan.shortages)
    price = season.farm.short_acre_cost or 0.0
    assert found.value <= plan.cost.total + price * short + 1e-6
