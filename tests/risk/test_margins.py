"""Margins of a plan against the audit's own recount, at just below and just above them."""

import math
from dataclasses import replace

import pytest

from planner.agronomy.suitability import acre_obstacles, seed_obstacles
from planner.plan import recount
from planner.plan.plan import Plan
from planner.risk.ceilings import LIQUID, all_ceilings, ceilings, ceilings_by_size
from planner.risk.margins import Bag, last_bags, margins
from planner.season.domain import Active, ActiveLimit, Basis, Season
from tests.support.plans import HAND_PLAN, HAND_SEASON
from tests.support.random_season import tiny_season
from tests.support.sample_plan import greedy_plan, sample_season
from tests.support.seasons import farm, field, product, recipe, season

NUDGE = 1e-6
"""How far beside a margin it is looked."""


def with_sizes(one: Season, change: float, only: str = "") -> Season:
    """Season whose seeds per lb differ by a share, of one lot or of all."""
    lots = tuple(
        replace(x, seeds_per_lb=x.seeds_per_lb * (1.0 + change)) if only in ("", x.name) else x
        for x in one.lots
    )
    return replace(one, lots=lots)


def using_more(one: Season, share: float) -> Season:
    """Season in which every unit takes a share more of every product."""
    more = (1.0 + one.farm.product_margin) * (1.0 + share) - 1.0
    return replace(one, farm=replace(one.farm, product_margin=more))


def more_units(one: Season, share: float) -> Season:
    """Season whose bags and all other seed hold a share more."""
    grown = 1.0 + share
    lots = tuple(
        replace(x, on_hand=x.on_hand * grown, units_per_bag=x.units_per_bag * grown)
        for x in one.lots
    )
    treated = tuple(replace(t, units=t.units * grown) for t in one.treated)
    return replace(one, lots=lots, treated=treated)


def left(one: Season, plan: Plan, name: str) -> float:
    return recount.balances(plan, one)[name].left


def cases() -> list[tuple[Season, Plan]]:
    """Seasons with plans that are covered: by hand, the sample, and random ones."""
    found = [(HAND_SEASON, HAND_PLAN), (sample_season(), greedy_plan(sample_season()))]
    for seed in range(60):
        one = tiny_season(seed)
        try:
            plan = greedy_plan(one)
        except ValueError:  # too few containers to be ordered at all
            continue
        if plan.treating and all(u.left > 0.0 for u in plan.products):
            found.append((one, plan))
    return found


CASES = cases()


def test_cases_are_many():
    assert len(CASES) > 20
    assert sum(m.seed_size is not None for case in CASES for m in margins(*case)) > 15


@pytest.mark.parametrize("number", range(len(CASES)))
def test_margins_are_where_the_recount_runs_short(number):
    one, plan = CASES[number]
    for m in margins(one, plan):
        size, worst = m.seed_size, m.worst_lot_size
        assert m.slack == pytest.approx(left(one, plan, m.product), abs=1e-6)
        assert left(using_more(one, m.used - NUDGE), plan, m.product) > 0.0
        assert left(using_more(one, m.used + NUDGE), plan, m.product) < 0.0
        assert left(more_units(one, m.used - NUDGE), plan, m.product) > 0.0
        assert left(more_units(one, m.used + NUDGE), plan, m.product) < 0.0
        if size is None:
            assert left(with_sizes(one, -0.9), plan, m.product) >= -1e-6
            continue
        assert -1.0 < size <= 0.0
        assert left(with_sizes(one, size + NUDGE), plan, m.product) > 0.0
        assert left(with_sizes(one, size - NUDGE), plan, m.product) < 0.0
        assert left(with_sizes(one, worst + NUDGE, m.worst_lot), plan, m.product) > 0.0
        assert left(with_sizes(one, worst - NUDGE, m.worst_lot), plan, m.product) < 0.0
        for other in one.lots:  # none of the others is worse
            assert left(with_sizes(one, worst + NUDGE, other.name), plan, m.product) > 0.0


def test_scarcest_first():
    found = margins(*CASES[1])
    assert [m.used for m in found] == sorted(m.used for m in found)


def test_hand_worked():
    """Alpha: 122.4 fl oz go on seed, 67.6 are left; R1 takes 2.04 a unit. Beta: 20.4 and 11.6."""
    beta, alpha = sorted(margins(HAND_SEASON, HAND_PLAN), key=lambda m: m.slack)
    assert (alpha.product, alpha.used) == ("Alpha", pytest.approx(67.6 / 122.4))
    assert (alpha.units, alpha.units_of) == (pytest.approx(67.6 / 2.04), ("L1", "R1"))
    assert (alpha.seed_size, alpha.worst_lot) == (None, "")
    assert (beta.product, beta.used) == ("Beta", pytest.approx(11.6 / 20.4))


class TestLastBag:
    """Alpha by hand: 200 fl oz less 10 of line losses; 40.8, 40.8, 20.4 (part bag), then 20.4."""

    BAGS = (
        Bag("L1", "R1", 20.0),
        Bag("L1", "R1", 20.0),
        Bag("L1", "R1", 10.0),
        Bag("L1", "R2", 20.0),
    )

    def test_bag_at_which_it_runs_out(self):
        shares = (0.55, 0.56, 0.90, 1.0, 2.0)
        alpha, beta = last_bags(HAND_SEASON, HAND_PLAN, self.BAGS, shares)
        # 190 / 122.4 = 1.5523; 190 / 102 = 1.8627; 190 / 81.6 = 2.328; 190 / 40.8 = 4.66
        assert (alpha.product, alpha.bags) == ("Alpha", 4)
        assert alpha.runs_out == (None, 4, 3, 3, 2)
        # 32 / 20.4 = 1.5686, all of it in the last bag
        assert (beta.bags, beta.runs_out) == (1, (None, None, 4, 4, 4))

    def test_just_enough_is_enough(self):
        m = margins(HAND_SEASON, HAND_PLAN)[0]
        found = last_bags(HAND_SEASON, HAND_PLAN, self.BAGS, (m.used, m.used + NUDGE))
        assert next(b for b in found if b.product == m.product).runs_out == (None, 4)


class TestCeilings:
    def one(self) -> Season:
        """Half by weight, half by the unit, 0.0972 mg of alpha-ine a seed."""
        actives = (Active("alpha-ine", 1.5),)
        return season(
            farm=farm(liquid_limit=9.0),
            products=(product(actives=actives), product("Beta", actives=actives)),
            recipes=(recipe(Alpha=(4.0, Basis.FLOZ_PER_CWT), Beta=1.0),),
            active_limits=(ActiveLimit("alpha-ine", per_acre=0.05, per_seed=0.13),),
        )

    def kept(self, one: Season, each) -> bool:
        """Whether the suitability rules, which know nothing of margins, let the place pass."""
        lots = {x.name: x for x in one.lots}
        rec = next(r for r in one.recipes if r.name == each.recipe)
        if each.per == "acre":
            fld = next(f for f in one.fields if f.name == each.field)
            bars = acre_obstacles(fld, lots[each.lot], rec, one)
        else:
            bars = seed_obstacles(lots[each.lot], rec, one)
        about = "" if each.about == LIQUID else each.about
        return about not in [bar.about for bar in bars]

    def using(self, one: Season, share: float) -> Season:
        """Season whose recipes put a share more on."""
        return replace(
            one,
            recipes=tuple(
                replace(
                    r,
                    rates=tuple(replace(x, amount=x.amount * (1 + share)) for x in r.rates),
                    carriers=tuple(replace(x, amount=x.amount * (1 + share)) for x in r.carriers),
                )
                for r in one.recipes
            ),
        )

    @pytest.mark.parametrize("per", ["cwt", "seed", "acre"])
    def test_just_below_and_just_above(self, per):
        one = replace(self.one(), active_limits=())
        if per == "seed":
            one = replace(one, active_limits=(ActiveLimit("alpha-ine", per_seed=0.13),))
        if per == "acre":
            one = replace(one, active_limits=(ActiveLimit("alpha-ine", per_acre=0.05),))
        if per != "cwt":
            one = replace(one, farm=replace(one.farm, liquid_limit=None))
        plan = greedy_plan(one)
        (each,) = all_ceilings(one, plan)
        assert each.per == per
        assert each.used > 0.0
        assert self.kept(self.using(one, each.used - NUDGE), each)
        assert not self.kept(self.using(one, each.used + NUDGE), each)
        toward = 1.0 if per == "cwt" else -1.0  # lighter seed carries more liquid per 100 lb
        assert math.copysign(1.0, each.seed_size) == toward
        assert self.kept(with_sizes(one, each.seed_size - toward * NUDGE), each)
        assert not self.kept(with_sizes(one, each.seed_size + toward * NUDGE), each)

    def test_liquid_by_hand(self):
        """4 fl oz/cwt and 1 fl oz on 50 lb are 6; 9 leave half as much again, or 2.5 times 2."""
        one = self.one()
        liquid = next(c for c in ceilings(one, greedy_plan(one)) if c.about == LIQUID)
        assert (liquid.planned, liquid.used) == (pytest.approx(6.0), pytest.approx(0.5))
        assert liquid.seed_size == pytest.approx(1.5)

    def test_water_counts_as_liquid_and_powder_does_not(self):
        one = season(
            farm=farm(liquid_limit=9.0),
            products=(product(), product("Talc", kind="fluency powder")),
            recipes=(recipe(water=1.0, Alpha=1.0, Talc=3.0),),
        )
        (liquid,) = ceilings(one, greedy_plan(one))
        assert (liquid.planned, liquid.used) == (pytest.approx(4.0), pytest.approx(1.25))
        assert liquid.seed_size == pytest.approx(1.25)

    @pytest.mark.parametrize("number", range(len(CASES)))
    def test_worst_place_first_everywhere(self, number):
        one, plan = CASES[number]
        every = list(all_ceilings(one, plan))
        for each in every:
            assert self.kept(self.using(one, each.used - NUDGE), each) or each.used < NUDGE
            assert not self.kept(self.using(one, each.used + NUDGE), each)
        worst = ceilings(one, plan)
        assert len({(c.about, c.per) for c in every}) == len(worst)
        assert [c.used for c in worst] == sorted(c.used for c in worst)
        if every:
            assert worst[0].used == min(c.used for c in every)
        sizes = [abs(c.seed_size) for c in ceilings_by_size(one, plan)]
        assert sizes == sorted(sizes)

    def test_a_field_of_more_seeds_breaks_per_acre_first(self):
        one = replace(self.one(), fields=(field("A", 20.0), field("B", 20.0, seeds=150_000.0)))
        each = next(c for c in ceilings(one, greedy_plan(one)) if c.per == "acre")
        assert each.field == "B"
