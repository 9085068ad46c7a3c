"""Bills by use: a season's bills against hand arithmetic, and laws over random seasons."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planner.plan.plan import Cost, Plan, Planting, Treating
from planner.plan.price import price_plan
from planner.plan.traced import Term, product_taken, trace
from planner.season.domain import DiscountLevel, Grower, Supplier
from planner.sharing.bills import Bill, bills_json, split, split_table, with_shares
from planner.sharing.by_use import by_use
from planner.sharing.growers import growers_of, season_of
from planner.sharing.settlement import settle
from planner.units.money import CENTS, cents
from tests.support.plans import HAND_PLAN, HAND_SEASON
from tests.support.quick import few
from tests.support.random_season import tiny_season
from tests.support.sample_plan import greedy_plan
from tests.support.seasons import container, farm, field, lot, product, recipe, season


def priced(season_, treating, planting, counts, bags=None, run_order=()) -> Plan:
    """A plan of whole decisions at their price."""
    treating = tuple(Treating(x, r, full, 0, units) for x, r, full, units in treating)
    planting = tuple(Planting(*row) for row in planting)
    return price_plan(season_, counts, bags or {}, treating, planting, run_order)


def two_growers(**changes):
    """Ann plants 60 and Bob 20 of 80 units of one lot, of 2 fl oz/unit Alpha in 100 fl oz jugs.

    Alpha: 80 x 2 x 1.05 = 168 fl oz on seed, 12 in the line, so 180 of 200 in two jugs.
    """
    given_ = {
        "farm": farm(product_margin=0.05),
        "fields": (field("North", 60.0, grower="Ann"), field("South", 20.0, grower="Bob")),
        "lots": (lot(on_hand=40.0, return_value=3.0, can_buy=40.0, buy_price=50.0),),
        "products": (product(line_loss=12.0, carryover=0.5),),
        "containers": (container(size=100.0, price=90.0, supplier="Elm"),),
        "suppliers": (Supplier("Elm", freight=40.0),),
        "discounts": (DiscountLevel("Early", 150.0, 0.1, "Elm"),),
        **changes,
    }
    made = season(**given_)
    plan = priced(
        made,
        [("L1", "R1", 2, 80.0)],
        [("North", "L1", "R1", 60.0, 60.0), ("South", "L1", "R1", 20.0, 20.0)],
        {("Alpha", "jug"): 2},
        {"L1": 1},
    )
    return made, plan


class TestByHand:
    def test_two_growers_of_one_lot_pay_by_units(self):
        """Derived by hand.

        Two jugs $180: 180 of 200 fl oz used, $162, of it 168/180 on seed, $151.20, and 12/180 in
        the line, $10.80; $18 left over. Freight $40, discount 10 % of 180, $18. Left are 20 fl oz,
        worth half of 90 cents each, $9. A bag of 40 bought at $50, $2,000; given up 3 x (80 - 40)
        = $120.
        Ann takes three quarters of everything.
        """
        made, plan = two_growers()
        ann, bob = by_use(plan, made)
        wanted = {
            "Alpha, jug: on seed": 151.20,
            "Alpha, jug: lost in the line": 10.80,
            "Alpha, jug: left over": 18.00,
            "Freight, Elm": 40.00,
            "Discount, Early": -18.00,
            "Alpha: worth of what is left": -9.00,
            "Seed of lot L1: bought": 2000.00,
            "Seed of lot L1: from Tiny farm's stock, at its return value": 120.00,
        }
        for bill, part in ((ann, 0.75), (bob, 0.25)):
            hand = {what: pytest.approx(part * money) for what, money in wanted.items()}
            assert {x.what: x.amount for x in bill.lines} == hand
        assert plan.cost.total == pytest.approx(2313.00)
        assert (ann.share, bob.share) == (1734.75, 578.25)

    def test_line_loss_is_of_those_who_share_the_recipe(self):
        """Derived: 10 fl oz lost for each of two recipes; Ann has one alone, Bob and Cy the other.

        200 units of 1 fl oz and 20 lost take 220 of 240 fl oz in two jugs at $120, $1 a fl oz. Of
        Ann's recipe 100 + 10, of the other 100 + 10, of which Bob has three quarters.
        """
        made = season(
            fields=(
                field("A", 100.0, grower="Ann"),
                field("B", 75.0, grower="Bob"),
                field("C", 25.0, grower="Cy"),
            ),
            lots=(lot(on_hand=200.0, units_per_bag=100.0),),
            products=(product(line_loss=10.0),),
            containers=(container(size=120.0, price=120.0),),
            recipes=(recipe("R1", Alpha=1.0), recipe("R2", Alpha=1.0)),
        )
        plan = priced(
            made,
            [("L1", "R1", 1, 100.0), ("L1", "R2", 1, 100.0)],
            [
                ("A", "L1", "R1", 100.0, 100.0),
                ("B", "L1", "R2", 75.0, 75.0),
                ("C", "L1", "R2", 25.0, 25.0),
            ],
            {("Alpha", "jug"): 2},
        )
        loss = {
            b.grower: {x.what: x.amount for x in b.lines}["Alpha, jug: lost in the line"]
            for b in by_use(plan, made)
        }
        assert loss == {"Ann": 10.0, "Bob": 7.5, "Cy": 2.5}
        assert [b.share for b in by_use(plan, made)] == [120.0, 90.0, 30.0]

    def test_a_primed_line_loses_once_for_a_stretch(self):
        """Derived: R1 and R2 hold Alpha and run one after the other, so 10 fl oz are lost once."""
        made = season(
            farm=farm(line_stays_primed=True),
            fields=(field("A", 100.0, grower="Ann"), field("B", 100.0, grower="Bob")),
            lots=(lot(on_hand=200.0, units_per_bag=100.0),),
            products=(product(line_loss=10.0),),
            containers=(container(size=210.0, price=210.0),),
            recipes=(recipe("R1", Alpha=0.5), recipe("R2", Alpha=1.5)),
        )
        plan = priced(
            made,
            [("L1", "R1", 1, 100.0), ("L1", "R2", 1, 100.0)],
            [("A", "L1", "R1", 100.0, 100.0), ("B", "L1", "R2", 100.0, 100.0)],
            {("Alpha", "jug"): 1},
            run_order=("R1", "R2"),
        )
        ann, bob = by_use(plan, made)
        assert [x.amount for x in ann.lines] == [50.0, 2.5]
        assert [x.amount for x in bob.lines] == [150.0, 7.5]

    def test_seed_given_up_is_borne_already_where_it_is_ones_own(self):
        """Derived: Bob's own lot of 40 at $3 can't go back; Ann's field takes the farm's seed."""
        made, _ = two_growers()
        made = replace(
            made,
            lots=(
                lot("L1", return_value=3.0),
                lot("L2", on_hand=40.0, return_value=3.0, grower="Bob"),
            ),
        )
        plan = priced(
            made,
            [("L1", "R1", 2, 80.0), ("L2", "R1", 1, 40.0)],
            [("North", "L1", "R1", 60.0, 60.0), ("South", "L2", "R1", 20.0, 20.0)],
            {("Alpha", "jug"): 3},
        )
        ann, bob = by_use(plan, made)
        assert (ann.own, bob.own) == (0.0, 120.0)
        made = replace(made, growers=(Grower("bob", "Lane 1", 100.0), Grower("Ann", deposit=900.0)))
        to_pay = {a.grower: a.due for a in settle((ann, bob), made)}
        assert to_pay["Bob"] == pytest.approx(bob.share - 120.0 - 100.0)
        assert to_pay["Ann"] == pytest.approx(ann.share - 900.0)
        assert to_pay["Ann"] < 0

    def test_whose_seed_others_take_gets_what_they_pay_for_it(self):
        """Derived: the farm's field takes 60 of Ann's 80 units of $3, so $180 are Ann's.

        Given up are 3 x 80 less the 40 bought, $120, of which the farm pays three quarters, $90.
        """
        made, plan = two_growers()
        made = replace(
            made,
            fields=(replace(made.fields[0], grower=None), replace(made.fields[1], grower="Ann")),
            lots=(replace(made.lots[0], grower="Ann"),),
        )
        own, ann = by_use(plan, made)
        assert (own.grower, own.own, ann.own) == ("Tiny farm", 0.0, 30.0)
        assert "Seed of lot L1: from Ann's stock, at its return value" in [
            x.what for x in own.lines
        ]
        farm_account, account = settle((own, ann), made)
        assert (farm_account.lent, farm_account.due) == (0.0, 0.0)
        assert account.lent == 90.0
        assert account.due == pytest.approx(ann.share - 30.0 - 90.0)

    def test_seed_that_names_nobody_is_the_farms_own(self):
        """Derived: $120 given up of a lot that names nobody, three quarters on the farm's field.

        The farm bears its $90 already, and Bob pays it $30 for the rest of the farm's seed.
        """
        made, plan = two_growers()
        made = replace(made, fields=(replace(made.fields[0], grower=None), made.fields[1]))
        own, bob = by_use(plan, made)
        assert (own.grower, own.own, bob.own) == ("Tiny farm", 90.0, 0.0)
        assert own.in_money == 1734.75 - 90.0
        _, account = settle((own, bob), made)
        assert account.due == 578.25

    def test_what_no_field_takes(self):
        """Derived: unused stock is worth $50; the farm has no field, so it goes by acres."""
        made, plan = two_growers()
        idle = product("Idle", on_hand=100.0, carryover=0.5)
        made = replace(
            made,
            products=(*made.products, idle),
            containers=(*made.containers, container("Idle", size=100.0, price=100.0)),
        )
        plan = priced(
            made,
            [("L1", "R1", 2, 80.0)],
            [("North", "L1", "R1", 60.0, 60.0), ("South", "L1", "R1", 20.0, 20.0)],
            {("Alpha", "jug"): 2},
        )
        credit = [
            x.amount
            for b in by_use(plan, made)
            for x in b.lines
            if x.what == "Idle: worth of what is left"
        ]
        assert credit == [-37.5, -12.5]
        own = replace(made, fields=(replace(made.fields[0], grower=None), made.fields[1]))
        bills = by_use(plan, own)
        assert [b.grower for b in bills] == ["Tiny farm", "Bob"]
        of_idle = [[x.amount for x in b.lines if x.what.startswith("Idle")] for b in bills]
        assert of_idle == [[-50.0], []]


class TestGrowers:
    def test_a_field_without_a_grower_is_the_farms(self):
        made = season(fields=(field("A"), field("B", grower="tiny FARM"), field("C", grower="Bob")))
        assert growers_of(made) == ("Tiny farm", "Bob")

    def test_a_group_has_its_fields_and_lots_and_what_is_nobodys(self):
        made = season(
            fields=(field("A"), field("B", grower="Ann"), field("C", grower="Bob")),
            lots=(lot("L1"), lot("L2", grower="Ann"), lot("L3", grower="Bob")),
        )
        ann = season_of(made, ["Ann"])
        assert [f.name for f in ann.fields] == ["B"]
        assert [x.name for x in ann.lots] == ["L1", "L2"]
        both = season_of(made, ["Tiny farm", "Bob"])
        assert [f.name for f in both.fields] == ["A", "C"]
        assert [x.name for x in both.lots] == ["L1", "L3"]


def grown(seed: int):
    """A random season whose fields have growers, and a plan of it."""
    made = tiny_season(seed)
    names = ("Ann", "Bob", None)
    made = replace(
        made,
        fields=tuple(replace(f, grower=names[i % 3]) for i, f in enumerate(made.fields)),
        lots=tuple(replace(x, grower=None) for x in made.lots),
    )
    return made, greedy_plan(made)


@pytest.mark.parametrize("seed", few(range(60), 4))
def test_shares_add_up_to_the_cent_and_lines_to_their_share(seed):
    made, plan = grown(seed)
    bills = by_use(plan, made)
    assert sum(cents(b.share) for b in bills) == cents(plan.cost.total)
    for b in bills:
        assert sum(cents(x.amount) for x in b.lines) == cents(b.share)


@pytest.mark.parametrize("seed", few(range(60), 4))
def test_what_is_traced_adds_up_term_by_term(seed):
    """To the plan's own cost terms and to the needs of its products, which nothing here made."""
    made, plan = grown(seed)
    sums = {term: sum(x.amount for x in trace(plan, made) if x.term is term) for term in Term}
    cost: Cost = plan.cost
    order = sums[Term.ON_SEED] + sums[Term.LINE_LOSS] + sums[Term.LEFT_OVER]
    assert order == pytest.approx(cost.containers, abs=1e-6)
    assert sums[Term.FREIGHT] == pytest.approx(cost.freight, abs=1e-6)
    assert -sums[Term.DISCOUNT] == pytest.approx(cost.discounts, abs=1e-6)
    assert -sums[Term.CREDIT] == pytest.approx(cost.carryover_credit, abs=1e-6)
    assert sums[Term.SEED_BOUGHT] == pytest.approx(cost.seed_bought, abs=1e-6)
    assert sums[Term.SEED_GIVEN_UP] == pytest.approx(cost.seed_given_up, abs=1e-6)
    assert sums[Term.YIELD_LOSS] == pytest.approx(cost.yield_loss, abs=1e-6)
    taken = product_taken(plan, made)
    for use in plan.products:
        parts = taken[use.product]
        need = sum(parts.on_seed.values()) + sum(parts.line_loss.values())
        assert need == pytest.approx(use.need, abs=1e-6)


def test_what_is_traced_adds_up_on_the_season_worked_by_hand():
    total = sum(x.amount for x in trace(HAND_PLAN, HAND_SEASON))
    assert total == pytest.approx(HAND_PLAN.cost.total)


def test_growers_with_alike_fields_pay_the_same():
    made, _ = two_growers()
    made = replace(made, fields=(field("A", 40.0, grower="Ann"), field("B", 40.0, grower="Bob")))
    plan = priced(
        made,
        [("L1", "R1", 2, 80.0)],
        [("A", "L1", "R1", 40.0, 40.0), ("B", "L1", "R1", 40.0, 40.0)],
        {("Alpha", "jug"): 2},
    )
    ann, bob = by_use(plan, made)
    assert abs(cents(ann.share) - cents(bob.share)) <= 1


def test_a_grower_without_seed_or_product_pays_nothing():
    made, plan = two_growers()
    made = replace(made, fields=(*made.fields, field("Idle", 30.0, grower="Dee")))
    dee = by_use(plan, made)[2]
    assert (dee.grower, dee.share, dee.lines) == ("Dee", 0.0, ())


@given(st.lists(st.lists(st.floats(-1e5, 1e5), min_size=3, max_size=3), min_size=1, max_size=30))
def test_a_table_of_money_rounds_both_ways(table):
    whole = split_table(table)
    assert sum(map(sum, whole)) == cents(sum(map(sum, table)))
    for row, exact in zip(whole, table, strict=True):
        assert abs(sum(row) - CENTS * sum(exact)) < 1 + 1e-3
        assert all(abs(w - CENTS * a) < 1 + 1e-3 for w, a in zip(row, exact, strict=True))
        assert all(w == 0 for w, a in zip(row, exact, strict=True) if a == 0 and any(exact))
    for i in range(3):
        drift = sum(row[i] for row in whole) - CENTS * sum(row[i] for row in table)
        assert abs(drift) < 3 + 1e-3, "cents of a column stay near, however many lines"


def test_many_thirds_do_not_add_up_to_dollars():
    """300 lines of a third of a cent more for each of three: nobody is off by more than a cent."""
    whole = split_table([[1 / 3, 1 / 3, 1 / 3]] * 300)
    assert [sum(row[i] for row in whole) for i in range(3)] == [10_000] * 3


def test_splitting_keeps_to_the_total():
    assert split([10.5, 10.5], 21) == [11, 10]
    assert split([-10.5, -10.5], -21) == [-10, -11]


def test_other_shares_are_reached_by_a_line_of_their_own():
    bills = (Bill("Ann", 60.0, ()), Bill("Bob", 40.01, ()))
    ann, bob = with_shares(bills, [50.004, 50.006], [70.0, 45.0], "By savings", 100.01)
    assert (ann.share, bob.share) == (50.0, 50.01)
    assert [x.amount for x in ann.lines] == [-10.0]
    assert (ann.saved, bob.saved) == (20.0, pytest.approx(-5.01))


def test_nothing_is_said_to_be_saved_against_planting_less_or_more():
    bill = Bill("Ann", 60.0, (), alone=10.0)
    assert bill.saved == -50.0
    assert replace(bill, short_alone=2.0).saved is None
    assert replace(bill, alone=90.0, short_alone=-2.0).saved is None


def test_bills_as_json():
    made, plan = two_growers()
    data = json.loads(json.dumps(bills_json(by_use(plan, made), "use")))
    ann, bob = data["bills"]
    assert ann["share"] + bob["share"] == 2313.0
    assert ann["alone"] is None
    assert ann["saved"] is None
    assert set(ann["lines"][0]) == {"what", "amount"}
