"""A plan held while figures turn out otherwise: exact small cases, and the audit's own recount."""

from dataclasses import replace

import pytest

from planner.plan import recount
from planner.plan.plan import Plan
from planner.risk.as_planned import as_planned
from planner.risk.chances import SparePlanted, to_dict
from planner.risk.margins import margins
from planner.risk.turned_out import turned_out, turns
from planner.season.domain import Basis, Pressure, Quantity, Season, TargetStand, Unknown
from tests.support.plans import HAND_PLAN, HAND_SEASON
from tests.support.sample_plan import greedy_plan, sample_season
from tests.support.seasons import container, field, lot, product, recipe, season

Q = Quantity


def fixed(what: Quantity, change: float, *of: str) -> Unknown:
    """An unknown that can turn out in one way only."""
    return Unknown(what, change, change, change, of)


def with_unknowns(one: Season, *rows: Unknown) -> Season:
    return replace(one, unknowns=rows)


def plain() -> tuple[Season, Plan]:
    """80 acres, a unit an acre of 120 units; 2 fl oz a unit by weight, 240 fl oz of 320."""
    one = season(
        recipes=(recipe(Alpha=(4.0, Basis.FLOZ_PER_CWT)),),
        fields=(field(pressure={"White mold": Pressure.HIGH}),),
        lots=(lot(units_per_bag=120.0),),
    )
    return one, greedy_plan(one)


class TestOneUnknown:
    """Chances by hand from the triangular distribution: x^2 or 1 - (1 - x)^2 with a mode at an end.

    Textbook formulas, from memory.
    """

    def test_product_used(self):
        """Enough up to 1/3 more; from 0 to 1/2 more, mode 0: 1 - (1 - 2/3)^2."""
        one, plan = plain()
        found = as_planned(with_unknowns(one, Unknown(Q.PRODUCT_USED, 0.0, 0.5)), plan)
        assert found.draws == 131_072
        assert found.enough == pytest.approx(1.0 - (1.0 / 3.0) ** 2, abs=2e-5)
        (alpha,) = found.products
        assert (alpha.enough, alpha.first) == (found.enough, pytest.approx(1.0 - found.enough))
        assert alpha.most == pytest.approx(240.0 * 1.5, rel=1e-2)
        # half of the draws are under 1/2 (1 - sqrt(1/2)) more, nine in ten under 1/2 (1 - sqrt(.1))
        assert alpha.median == pytest.approx(240.0 * (1.5 - 0.5 * 0.5**0.5), rel=1e-4)
        assert alpha.nine_in_ten == pytest.approx(240.0 * (1.5 - 0.5 * 0.1**0.5), rel=1e-4)
        assert alpha.one_in_ten == pytest.approx(240.0 * (1.5 - 0.5 * 0.9**0.5), rel=1e-4)
        assert found.seed_enough == 1.0

    def test_seed_size(self):
        """Short from a quarter fewer seeds per lb on; from 0 to 1/2 fewer, mode 0."""
        one, plan = plain()
        row = Unknown(Q.SEEDS_PER_LB, -0.5, 0.0)
        found = as_planned(with_unknowns(one, row), plan)
        assert found.enough == pytest.approx(1.0 - 0.5**2, abs=2e-5)
        assert found.products[0].short_from_seed_size == pytest.approx(-0.25)

    def test_more_acres_than_seed_is_there_for(self):
        """120 units there, 80 planted: short from half as many acres again; from 0 to 1 more."""
        one, plan = plain()
        found = as_planned(with_unknowns(one, Unknown(Q.ACRES, 0.0, 1.0)), plan)
        (only,) = found.lots
        assert (only.planted, only.there) == (pytest.approx(80.0), 120.0)
        assert only.enough == found.seed_enough == pytest.approx(0.75, abs=2e-5)
        assert found.white_mold == only.enough
        # mean of what passes 120: 80 x integral of (x - 1/2) 2 (1 - x) from 1/2 to 1 = 80 / 24
        assert only.short == pytest.approx(80.0 / 24.0, rel=1e-3)
        assert found.short_acres == pytest.approx(80.0 / 24.0, rel=1e-3)
        assert found.enough == 1.0, "bags are held"

    def test_spare_seed_is_planted_before_a_field_is_short(self):
        """80 units and 20 % spare are 96 of 120: short from 1/4 more on, without spare from 1/2.

        From 0 to 1 more, mode 0: 1 - (3/4)^2 and 1 - (1/2)^2. Mean short, as above: 80 / 24.
        """
        one, _ = plain()
        one = replace(one, farm=replace(one.farm, spare_seed=0.2))
        found = as_planned(with_unknowns(one, Unknown(Q.ACRES, 0.0, 1.0)), greedy_plan(one))
        assert found.seed_enough == pytest.approx(1.0 - 0.75**2, abs=2e-5)
        assert found.spare == SparePlanted(
            0.2, pytest.approx(0.75, abs=2e-5), pytest.approx(80.0 / 24.0, rel=1e-3)
        )
        assert to_dict(found)["as_planned"]["spare_planted"]["share"] == 0.2
        assert as_planned(*plain(), draws=2).spare is None

    def test_units_on_hand(self):
        """Enough down to a third fewer; from 0 to 1/2 fewer. Fewer units take less product."""
        one, plan = plain()
        found = as_planned(with_unknowns(one, Unknown(Q.UNITS_ON_HAND, -0.5, 0.0)), plan)
        assert found.seed_enough == pytest.approx(1.0 - (1.0 / 3.0) ** 2, abs=2e-5)
        assert found.products[0].most == pytest.approx(240.0, rel=1e-3)

    def test_germination(self):
        """A stand of 80 units at 90 %: short where it falls to 60 %, half of 60 points, mode 0."""
        one, _ = plain()
        stand = TargetStand(140_000.0 * 0.9 * 0.9, 0.9)
        lots = (replace(one.lots[0], germination=0.9),)
        one = replace(one, fields=(replace(one.fields[0], sowing=stand),), lots=lots)
        row = Unknown(Q.GERMINATION, -0.6, 0.0)
        found = as_planned(with_unknowns(one, row), greedy_plan(one))
        assert found.lots[0].planted == pytest.approx(80.0)
        assert found.seed_enough == pytest.approx(1.0 - 0.5**2, abs=2e-5)
        by_seeds = replace(one, fields=plain()[0].fields)
        same = as_planned(with_unknowns(by_seeds, row), greedy_plan(by_seeds))
        assert same.seed_enough == 1.0, "a seeding rate does not ask for germination"

    def test_a_germination_stops_at_a_hundred(self):
        """Twice the acres at 100 % take 160 x 0.9 = 144 of 120 units; at 140 % it were 103."""
        one, _ = plain()
        stand = TargetStand(140_000.0 * 0.9 * 0.9, 0.9)
        lots = (replace(one.lots[0], germination=0.9),)
        one = replace(one, fields=(replace(one.fields[0], sowing=stand),), lots=lots)
        rows = (fixed(Q.GERMINATION, 0.5), fixed(Q.ACRES, 1.0))
        found = as_planned(with_unknowns(one, *rows), greedy_plan(one), draws=2)
        assert found.lots[0].short == pytest.approx(24.0)

    def test_a_germination_that_falls_to_nothing_is_the_same_everywhere(self):
        """By hand: at the least 1 %, 80 units at 90 % become 7,200, however it is calculated."""
        one, _ = plain()
        stand = TargetStand(140_000.0 * 0.9 * 0.9, 0.9)
        lots = (replace(one.lots[0], germination=0.9),)
        one = replace(one, fields=(replace(one.fields[0], sowing=stand),), lots=lots)
        one = with_unknowns(one, fixed(Q.GERMINATION, -0.5), fixed(Q.GERMINATION, -0.5))
        plan = greedy_plan(one)
        assert as_planned(one, plan, draws=2).lots[0].short == pytest.approx(7200.0 - 120.0)
        (turn,) = turns(one, 1, 0)
        assert turned_out(one, turn).lots[0].germination == pytest.approx(0.01)


class TestHeldAgainstTheRecount:
    """One way to turn out: the need must be that of the audit's recount of the changed season."""

    CASES = (
        (HAND_SEASON, HAND_PLAN),
        (sample_season(), greedy_plan(sample_season())),
    )

    @pytest.mark.parametrize(("one", "plan"), CASES, ids=["hand", "sample"])
    @pytest.mark.parametrize("change", [-0.2, 0.13])
    def test_seed_sizes_and_product_used(self, one, plan, change):
        used = 0.05
        margin = (1.0 + one.farm.product_margin) * (1.0 + used) - 1.0
        sizes = tuple(replace(x, seeds_per_lb=x.seeds_per_lb * (1 + change)) for x in one.lots)
        other = replace(one, lots=sizes, farm=replace(one.farm, product_margin=margin))
        expected = recount.balances(plan, other)
        rows = (fixed(Q.SEEDS_PER_LB, change), fixed(Q.PRODUCT_USED, used))
        found = as_planned(with_unknowns(one, *rows), plan, draws=8)
        assert len(found.products) == sum(b.need > 0.0 for b in expected.values())
        for p in found.products:
            assert p.median == p.most == pytest.approx(expected[p.product].need)
            assert p.enough == float(expected[p.product].left >= -1e-6)

    def test_as_planned_everything_suffices(self):
        for one, plan in self.CASES:
            found = as_planned(one, plan, draws=4)
            assert found.enough == found.seed_enough == 1.0
            needs = {u.product: u.need for u in plan.products}
            for p in found.products:
                assert p.median == pytest.approx(needs[p.product])

    def test_bags_that_are_bought_hold_what_they_should(self):
        """L1: 50 units on hand are treated, then the bag that is bought: 70 - 50 x 10 % = 65."""
        rows = (fixed(Q.UNITS_ON_HAND, -0.1, "L1"),)
        found = as_planned(with_unknowns(HAND_SEASON, *rows), HAND_PLAN, draws=2)
        alpha = next(p for p in found.products if p.product == "Alpha")
        assert alpha.median == pytest.approx(132.4 - 122.4 * 5.0 / 70.0)
        lots = {x.lot: x for x in found.lots}
        # R1: 10 treated before and 50 to treat, R2: 20; L2: 30, of which 10 are planted untreated
        assert lots["L1"].there == pytest.approx(80.0)
        assert lots["L2"].there == pytest.approx(30.0)
        assert lots["L3"].there == pytest.approx(10.0)


def two_products() -> tuple[Season, Plan]:
    one = season(
        products=(product(), product("Beta")),
        containers=(container(size=170.0), container("Beta", size=170.0)),
        recipes=(recipe(Alpha=2.0, Beta=2.0),),
        lots=(lot(on_hand=80.0, units_per_bag=80.0),),
    )
    return one, greedy_plan(one)


class TestSeveral:
    def test_together_or_each_on_its_own(self):
        """Each suffices up to 1/16 more: half of 1/8, mode 0, so 3/4; two on their own 9/16."""
        one, plan = two_products()
        row = Unknown(Q.PRODUCT_USED, 0.0, 0.125)
        alone = as_planned(with_unknowns(one, row), plan)
        both = as_planned(with_unknowns(one, replace(row, together=True)), plan)
        assert both.enough == pytest.approx(0.75, abs=2e-5)
        assert alone.enough == pytest.approx(0.5625, abs=1e-3)
        assert [p.enough for p in alone.products] == pytest.approx([0.75, 0.75], abs=2e-5)
        assert sum(p.first for p in alone.products) == pytest.approx(1.0 - alone.enough)

    def test_what_runs_out_first(self):
        one, plan = two_products()
        rows = (fixed(Q.PRODUCT_USED, 0.1, "Alpha"), fixed(Q.PRODUCT_USED, 0.2, "Beta"))
        found = as_planned(with_unknowns(one, *rows), plan, draws=2)
        first = {p.product: (p.enough, p.first) for p in found.products}
        assert first == {"Alpha": (0.0, 0.0), "Beta": (0.0, 1.0)}

    def test_same_seed_same_answer(self):
        one, plan = two_products()
        one = with_unknowns(one, Unknown(Q.PRODUCT_USED, 0.0, 0.125))
        first, same, other = (as_planned(one, plan, draws=1024, seed=s) for s in (3, 3, 4))
        assert first == same
        assert first.products != other.products

    def test_white_mold_fields_are_those_under_its_pressure(self):
        one, _ = plain()
        rot = replace(one.fields[0], pressure={"Rot": Pressure.HIGH})
        one = replace(one, fields=(rot,))
        assert as_planned(one, greedy_plan(one), draws=2).white_mold is None


class TestSpread:
    def test_what_is_there_is_an_edge_and_shares_add_up(self):
        one, plan = plain()
        found = as_planned(with_unknowns(one, Unknown(Q.PRODUCT_USED, 0.0, 0.5)), plan)
        spread = found.spread
        assert spread.supply == 320.0
        assert 320.0 in spread.edges
        assert list(spread.edges) == sorted(spread.edges)
        assert len(spread.shares) == len(spread.edges) - 1
        assert sum(spread.shares) == pytest.approx(1.0)
        below = sum(s for s, e in zip(spread.shares, spread.edges, strict=False) if e < 320.0)
        assert below == pytest.approx(found.enough)

    @pytest.mark.parametrize("change", [-0.2, 0.0, 0.5])
    def test_a_need_that_is_sure(self, change):
        one, plan = plain()
        found = as_planned(with_unknowns(one, fixed(Q.PRODUCT_USED, change)), plan, draws=4)
        assert sum(found.spread.shares) == pytest.approx(1.0)
        assert 320.0 in found.spread.edges

    def test_nothing_to_treat(self):
        one = season(lots=(lot(on_hand=0.0),))
        found = as_planned(one, greedy_plan(one), draws=4)
        assert (found.products, found.spread, found.enough) == ((), None, 1.0)


def test_keys_for_other_programs():
    one, plan = plain()
    found = as_planned(with_unknowns(one, Unknown(Q.SEEDS_PER_LB, -0.5, 0.0)), plan, draws=64)
    told = to_dict(found)
    assert (told["draws"], told["seed"]) == (64, 0)
    held = told["as_planned"]
    assert held["enough"] == found.enough
    (alpha,) = held["products"]
    wanted = {"product", "enough", "median", "nine_in_ten", "most", "short_from_seed_size"}
    assert wanted <= set(alpha)
    assert alpha["short_from_seed_size"] == margins(one, plan)[0].seed_size


def test_a_margin_beyond_thirty_percent_is_not_told():
    one, plan = plain()
    more = replace(one, products=(replace(one.products[0], on_hand=100.0),))
    plan = greedy_plan(more)  # 420 fl oz for 240
    assert margins(more, plan)[0].seed_size == pytest.approx(-180.0 / 420.0)
    assert as_planned(more, plan, draws=2).products[0].short_from_seed_size is None
