"""Seed bought treated against treating it yourself, worked by hand."""

import pytest

from planner.explain.bought_treated import bought_treated
from planner.optimize.options import SolveOptions
from planner.optimize.search.run import solve
from tests.support.seasons import farm, lot, season


def told(price, **changes):
    """40 units can be bought with R1 on them; the lot beside is worth $50, or $60 to buy."""
    treated = lot("L2", on_hand=0.0, can_buy=40.0, buy_price=price, treated_with="R1")
    one = season(lots=(lot(**changes), treated))
    return bought_treated(solve(one, SolveOptions(seconds=20)), one)


def test_seed_on_hand_worked_by_hand():
    """2 fl oz at 300/320 are $1.875; with seed worth $50 a unit $51.875."""
    (found,) = told(52.0, return_value=50.0)
    assert (found.lot, found.recipe, found.other) == ("L2", "R1", "L1")
    assert (found.seed, found.product) == (50.0, pytest.approx(1.875))
    assert found.more == pytest.approx(0.125)
    assert "L1 on hand and treated here costs $0.12 less a unit" in found.sentence.replace(
        "0.13", "0.12"
    )
    assert "Freight, your time and the line losses are left out." in found.sentence


def test_seed_to_buy_worked_by_hand():
    """$60 and $1.875 against $55 treated: $6.875 dearer."""
    on_hand, to_buy = told(55.0, return_value=50.0, can_buy=40.0, buy_price=60.0)
    assert on_hand.more == pytest.approx(55.0 - 51.875)
    assert to_buy.more == pytest.approx(-6.875)
    assert "L1 bought and treated here costs $6.88 more a unit" in to_buy.sentence.replace(
        "6.87", "6.88"
    )


def test_margin_counts():
    treated = lot("L2", on_hand=0.0, can_buy=40.0, buy_price=55.0, treated_with="R1")
    one = season(farm=farm(product_margin=0.1), lots=(lot(), treated))
    (found,) = bought_treated(solve(one, SolveOptions(seconds=20)), one)
    assert found.product == pytest.approx(1.875 * 1.1)


def test_no_lot_to_compare():
    (found,) = told(55.0, variety="V16", maturity=1.6)
    assert (found.other, found.seed, found.more) == ("", None, None)
    assert "No untreated lot of V20" in found.sentence


def test_what_can_not_be_bought_is_not_compared():
    one = season(lots=(lot(), lot("L2", treated_with="R1")))
    assert bought_treated(solve(one, SolveOptions(seconds=20)), one) == ()
