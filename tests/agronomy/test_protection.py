"""Ratings, needs and expected losses."""

import pytest

from planner.agronomy.protection import loss_per_acre, need, rating
from planner.season.domain import Pressure, Rating, Threat
from tests.support.seasons import field, product, recipe, season

PRODUCTS = {
    # Directions only: metalaxyl-M is for water molds and no protection from sudden death or white
    # mold (A. Dorrance, Ohio State Univ., reprint; Univ. of Minnesota Crop News, March 2020);
    # fludioxonil for true fungi (from memory). The marks are invented.
    "Wet": product("Wet", protection={"pythium": Rating.E, "phytophthora": Rating.E}),
    "Dry": product("Dry", protection={"rhizoctonia": Rating.G, "pythium": Rating.P}),
}
BOTH = recipe(Wet=1.0, Dry=1.0)


def test_ratings_are_in_the_order_of_the_scale():
    """E > VG > G > F > P > none: marks of Crop Protection Network CPN-1020 (order from memory)."""
    order = [Rating.NONE, Rating.P, Rating.F, Rating.G, Rating.VG, Rating.E]
    assert sorted(Rating) == order


def test_best_product_counts():
    assert rating(BOTH, "pythium", PRODUCTS) is Rating.E
    assert rating(recipe(Dry=1.0), "pythium", PRODUCTS) is Rating.P
    assert rating(None, "pythium", PRODUCTS) is Rating.NONE


@pytest.mark.parametrize("threat", ["sudden death syndrome", "white mold"])
def test_what_nobody_rated_is_not_held(threat):
    """Metalaxyl-M with fludioxonil is no protection from sudden death or white mold."""
    assert rating(BOTH, threat, PRODUCTS) is Rating.NONE


@pytest.mark.parametrize(
    ("pressure", "wanted"),
    [
        (Pressure.NONE, Rating.NONE),
        (Pressure.LOW, Rating.NONE),
        (Pressure.MODERATE, Rating.F),
        (Pressure.HIGH, Rating.VG),
    ],
)
def test_a_field_needs_what_its_pressure_asks_for(pressure, wanted):
    threat = Threat("pythium", need={Pressure.MODERATE: Rating.F, Pressure.HIGH: Rating.VG})
    assert need(field(pressure={"pythium": pressure}), threat) is wanted
    assert need(field(), threat) is Rating.NONE


def test_loss_is_what_control_leaves():
    """Worked by hand: 3 x (1 - 0.9) + 2 x (1 - 0.5) + 5 x 1 = 6.3 bu/acre."""
    threats = (
        Threat("pythium", loss={Pressure.HIGH: 3.0}),
        Threat("rhizoctonia", loss={Pressure.LOW: 2.0}),
        Threat("white mold", loss={Pressure.HIGH: 5.0}),
        Threat("phytophthora", loss={Pressure.HIGH: 9.0}),
    )
    one = field(
        pressure={
            "pythium": Pressure.HIGH,
            "rhizoctonia": Pressure.LOW,
            "white mold": Pressure.HIGH,
        }
    )
    control = {Rating.E: 0.9, Rating.G: 0.5, Rating.P: 0.1}
    given = season(threats=threats, control=control, products=tuple(PRODUCTS.values()))
    assert loss_per_acre(one, BOTH, None, given) == pytest.approx(6.3)
    assert loss_per_acre(one, None, None, given) == pytest.approx(10.0)


def test_a_rating_without_control_prevents_nothing():
    threats = (Threat("pythium", loss={Pressure.HIGH: 3.0}),)
    one = field(pressure={"pythium": Pressure.HIGH})
    control, products = {Rating.G: 0.5}, tuple(PRODUCTS.values())
    given = season(threats=threats, control=control, products=products)
    assert loss_per_acre(one, BOTH, None, given) == 3.0
