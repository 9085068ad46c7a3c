"""Shapley value, core and nucleolus against published games, and laws they keep.

The source stands beside each game. "memory": written down from memory; "derived":
worked out by hand or by listing all cases.
"""

import itertools
import math
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from planner.sharing.games import (
    core,
    members,
    nucleolus,
    sampled_shapley,
    shapley,
    shapley_range,
    weights,
)
from tests.support.quick import examples


def slack(costs: np.ndarray) -> float:
    return 1e-7 * max(1.0, float(np.abs(costs).max()))


def excesses(costs: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """By how much every group pays more than alone."""
    paid = [sum(s for n, s in enumerate(shares) if group >> n & 1) for group in range(len(costs))]
    return paid - costs


def most_overcharged(costs: np.ndarray, shares: np.ndarray) -> tuple[int, float]:
    """The group, other than all, that pays most beyond what it would pay alone, and how much."""
    over = excesses(costs, shares)[1:-1]
    return (int(np.argmax(over)) + 1, float(over.max())) if len(over) else (1, 0.0)


def keeps_alone(costs: np.ndarray, shares: np.ndarray) -> bool:
    """Stand-alone test: nobody pays more than alone, and no group does."""
    return most_overcharged(costs, shares)[1] <= slack(costs)


def keeps_increments(costs: np.ndarray, shares: np.ndarray) -> bool:
    """Incremental test: every group pays at least what it adds to the cost of the others."""
    everyone = len(costs) - 1
    paid = [sum(s for n, s in enumerate(shares) if group >> n & 1) for group in range(len(costs))]
    adds = [costs[-1] - costs[everyone ^ group] for group in range(len(costs))]
    return all(p >= a - slack(costs) for p, a in zip(paid[1:], adds[1:], strict=True))


def mask(players: str) -> int:
    """Group of players written by their digits, 1 for the first."""
    return sum(1 << int(p) - 1 for p in players)


def game(text: str, values: bool = False) -> np.ndarray:
    """Game from '1:8 2:1 12:8'; a game of values becomes one of costs. Others cost nothing."""
    said = {mask(k): float(v) for k, v in (word.split(":") for word in text.split())}
    costs = np.zeros(1 << max(said).bit_length())
    for group, cost in said.items():
        costs[group] = cost
    return -costs if values else costs


def of_groups(count: int, cost) -> np.ndarray:
    """Game from a function of the tuple of members."""
    return np.array([cost(members(m)) if m else 0.0 for m in range(1 << count)])


def airport(*costs: float) -> np.ndarray:
    return of_groups(len(costs), lambda s: max(costs[i] for i in s))


def bankruptcy(estate: float, *claims: float) -> np.ndarray:
    """As costs: less what those outside leave."""
    rest = lambda s: sum(c for i, c in enumerate(claims) if i not in s)  # noqa: E731
    return of_groups(len(claims), lambda s: -max(0.0, estate - rest(s)))


def containers(*needs: float, packs=((2.5, 250.0), (15.0, 1200.0))) -> np.ndarray:
    """Cheapest whole containers over each group's need, by listing all counts (derived)."""

    def cheapest(need: float) -> float:
        most = [math.ceil(need / size) for size, _ in packs]
        counts = itertools.product(*(range(m + 1) for m in most))
        return min(
            sum(n * price for n, (_, price) in zip(c, packs, strict=True))
            for c in counts
            if sum(n * size for n, (size, _) in zip(c, packs, strict=True)) >= need
        )

    return of_groups(len(needs), lambda s: cheapest(sum(needs[i] for i in s)))


def near(*numbers: float):
    return pytest.approx(numbers, abs=1e-6 * max(1.0, *(abs(n) for n in numbers)))


FOUR = "1:8 2:1 3:10 4:11 12:8 13:10 14:19 23:10 24:12 34:12 123:10 124:19 134:20 234:13 1234:20"
FIVE = (
    "1:.060 2:.168 3:.030 4:.249 5:0 12:.378 13:.144 14:.408 15:.182 23:.337 24:.538 25:.279 "
    "34:.383 35:.083 45:.386 123:.536 124:.747 125:.485 134:.546 135:.255 145:.561 234:.706 "
    "235:.379 245:.668 345:.473 1234:.906 1235:.573 1245:.874 1345:.634 2345:.801 12345:1"
)
OH_SHIN = "1:375144 2:245280 3:211239 12:568232 13:551055 23:452411 123:772500"
LEMAIRE = "1:46125 2:17437.5 3:5812.5 12:69187.5 13:53812.5 23:30750 123:90000"
TVA = "1:163520 2:140826 3:250096 12:301607 13:378821 23:367370 123:412584"

PUBLISHED = {
    # Fragnelli, Applications of TU games, 2002: two share a service
    "two": (game("1:70 2:40 12:90"), (60, 30), (60, 30)),
    # Littlechild and Owen 1973; R package GameTheoryAllocation, documentation
    "airport three": (airport(1, 1, 2), (1 / 3, 1 / 3, 4 / 3), None),
    # exercise text on airport games; nucleolus derived
    "airport four": (airport(12, 18, 24, 36), (3, 5, 8, 20), (6, 6, 6, 18)),
    # textbook example, memory; nucleolus derived
    "airport eight": (airport(8, 11, 13, 18), (2, 3, 4, 9), (3.25, 3.25, 3.25, 8.25)),
    # R package CoopGame, documentation: glove game
    "gloves": (game("13:1 23:1 123:1", True), (-1 / 6, -1 / 6, -2 / 3), (0, 0, -1)),
    # Lemaire 1991, in the test of Nucleolus.jl after Guajardo and Jornsten 2015; Shapley derived
    "Lemaire": (game(LEMAIRE, True), (-51750, -25875, -12375), (-52687.5, -24468.75, -12843.75)),
    # Hasan et al. 2011, same test
    "four": (game(FOUR), None, (7.5, 0.5, 1.5, 10.5)),
    # Oh and Shin 2012, same test; Shapley derived
    "Oh and Shin": (
        game(OH_SHIN),
        (342205 + 2 / 3, 227951 + 2 / 3, 202342 + 2 / 3),
        (331695.25, 233051.25, 207753.5),
    ),
    # Sakawa et al. 2001, same test
    "five": (game(FIVE, True), None, (-0.165, -0.3205, -0.0845, -0.3745, -0.0555)),
    # R package CoopGame, documentation; Shapley derived
    "CoopGame four": (
        game("12:5 13:5 14:8 23:9 24:10 34:8 123:13 124:15 134:16 234:17 1234:21", True),
        (-47 / 12, -21 / 4, -21 / 4, -79 / 12),
        (-3.5, -4.5, -5.5, -7.5),
    ),
    # R package coopProductGame, documentation; Shapley derived
    "product": (
        game("1:68 2:102 3:0 12:170 13:710 23:762 123:992", True),
        (-229, -272, -491),
        (-149, -192, -651),
    ),
    # lecture notes (UCLA) in a test of an R package; Shapley derived
    "notes": (
        game("1:-1 2:0 3:1 12:3 13:4 23:2 123:5", True),
        (-5 / 3, -7 / 6, -13 / 6),
        (-8 / 3, -2 / 3, -5 / 3),
    ),
    # test of CooperativeGames.jl
    "Julia": (game("1:1 2:2 12:3 13:3 23:2 123:4", True), (-5 / 3, -5 / 3, -2 / 3), None),
    # tests of PseudopolynomialShapley; nucleolus derived
    "bankruptcy": (
        bankruptcy(9, 2, 3, 5, 7),
        (-13 / 12, -19 / 12, -31 / 12, -15 / 4),
        (-1, -1.5, -2.5, -4),
    ),
    # Aumann and Maschler 1985; rule in R package ClaimsProblems; values from memory and derived
    "Talmud 100": (bankruptcy(100, 100, 200, 300), (-100 / 3,) * 3, (-100 / 3,) * 3),
    "Talmud 200": (bankruptcy(200, 100, 200, 300), (-100 / 3, -250 / 3, -250 / 3), (-50, -75, -75)),
    "Talmud 300": (bankruptcy(300, 100, 200, 300), (-50, -100, -150), (-50, -100, -150)),
    # Ibn Ezra's heirs, via Aumann 2010; R package CoopGame
    "heirs": (airport(120, 60, 40, 30), (80.83333333, 20.83333333, 10.83333333, 7.5), None),
    # Young 1985, p. 68, R package CoopGame; nucleolus and Shapley derived
    "Young": (
        game("1:15 2:20 3:55 12:35 13:61 23:65 123:78"),
        (12 + 5 / 6, 17 + 1 / 3, 47 + 5 / 6),
        (14, 18.5, 45.5),
    ),
    # Straffin and Heaney 1981 (Tennessee Valley, $000), memory
    "Tennessee Valley": (game(TVA), (117829, 100756.5, 193998.5), (116234, 93540, 202810)),
    # whole containers, derived by listing all counts
    "one point": (containers(4, 6, 9), (408 + 1 / 3, 533 + 1 / 3, 758 + 1 / 3), (500, 500, 700)),
    "6 6 9": (containers(6, 6, 9), (608 + 1 / 3, 608 + 1 / 3, 733 + 1 / 3), (650, 650, 650)),
    "three drums": (
        containers(7.5, 7.5, 7.5, packs=((15.0, 1000.0),)),
        (2000 / 3,) * 3,
        (2000 / 3,) * 3,
    ),
}


@pytest.mark.parametrize("name", [n for n, g in PUBLISHED.items() if g[1]])
def test_published_shapley_values(name):
    costs, wanted, _ = PUBLISHED[name]
    assert tuple(shapley(costs)) == near(*wanted)


@pytest.mark.parametrize("name", [n for n, g in PUBLISHED.items() if g[2]])
def test_published_nucleoli(name):
    costs, _, wanted = PUBLISHED[name]
    assert tuple(nucleolus(costs)) == near(*wanted)


def test_equal_shares_of_two_are_not_in_the_core():
    """Fragnelli 2002: 45 each, though one pays 40 alone."""
    costs = PUBLISHED["two"][0]
    assert not keeps_alone(costs, np.array([45.0, 45.0]))
    assert keeps_alone(costs, np.array([60.0, 30.0]))
    assert most_overcharged(costs, np.array([45.0, 45.0])) == (2, 5.0)


def test_the_shapley_value_of_oh_and_shin_breaks_a_group():
    costs = PUBLISHED["Oh and Shin"][0]
    assert most_overcharged(costs, shapley(costs))[0] == mask("12")


def test_tennessee_valley_shares_are_in_the_core():
    """Straffin and Heaney 1981, memory."""
    costs = PUBLISHED["Tennessee Valley"][0]
    assert keeps_alone(costs, shapley(costs))
    assert keeps_alone(costs, nucleolus(costs))


class TestWholeContainers:
    """2.5 gal at $250 and 15 gal at $1,200; derived by listing all counts."""

    def test_a_group_pays_for_the_cheapest_containers(self):
        costs = containers(4, 6, 9)
        assert costs[1:].tolist() == [500, 750, 1000, 1000, 1200, 1200, 1700]

    def test_a_core_of_one_point(self):
        costs = containers(4, 6, 9)
        found = core(costs)
        assert (found.empty, found.excess) == (False, pytest.approx(0.0, abs=1e-6))
        assert tuple(found.shares) == near(500, 500, 700)
        by_volume = 1700 * np.array([4, 6, 9]) / 19
        for shares in (shapley(costs), by_volume):
            assert most_overcharged(costs, shares)[0] == mask("23")

    @pytest.mark.parametrize(("name", "excess"), [("6 6 9", 100), ("three drums", 1000 / 3)])
    def test_an_empty_core(self, name, excess):
        found = core(PUBLISHED[name][0])
        assert found.empty
        assert found.excess == pytest.approx(excess)


def test_joint_ordering_shares_squares():
    """Meca, Timmer, Garcia-Jurado and Borm 2004, memory: own cost squared by the total."""
    own = (30.0, 40.0, 120.0)
    costs = of_groups(3, lambda s: math.sqrt(sum(own[i] ** 2 for i in s)))
    shares = np.array([c * c / costs[-1] for c in own])
    assert costs[-1] == pytest.approx(130)
    assert shares == pytest.approx([6.923, 12.308, 110.769], abs=5e-4)
    assert keeps_alone(costs, shares)


def test_joint_replenishment_has_a_core_in_every_group():
    """Anily and Haviv, Oper. Res. 2007 (abstract): a concave game. The instance is derived.

    Cheapest power-of-two cycles by listing them: one major set-up at the shortest cycle, a minor
    one for each player at his own.
    """
    major, minor, holding = 10.0, (2.0, 3.0, 5.0), (1.0, 4.0, 9.0)
    cycles = [2.0**k for k in range(-4, 5)]

    def cost(s):
        return min(
            major / base
            + sum(min(minor[i] / t + holding[i] * t for t in cycles if t >= base) for i in s)
            for base in cycles
        )

    costs = of_groups(3, cost)
    assert not core(costs).empty
    for pair in ((0, 1), (0, 2), (1, 2)):
        assert not core(np.array([0.0, *(costs[1 << i] for i in pair), cost(pair)])).empty
    for i, (a, b) in itertools.product(range(3), itertools.combinations(range(8), 2)):
        if a & b == a and not b >> i & 1:
            assert costs[a | 1 << i] - costs[a] >= costs[b | 1 << i] - costs[b] - 1e-9


def test_shared_procurement_under_poisson_demand_is_stable():
    """Timmer, Chessa and Boucherie, EJOR 2013 (abstract): stable for two and three firms.

    The instance is derived: all order whenever as many units were asked for together as is
    cheapest; procurement is split by demand, every firm holds its own stock (on average half of
    what it gets an order, as demands come in random order).
    """
    rate, holding, order = (2.0, 3.0, 5.0), (1.0, 1.0, 1.0), 40.0

    def parts(s):
        total = sum(rate[i] for i in s)
        hold = sum(holding[i] * rate[i] / total for i in s)
        q = min(range(1, 200), key=lambda n: order * total / n + hold * (n + 1) / 2)
        return order * total / q, {i: holding[i] * rate[i] / total * (q + 1) / 2 for i in s}

    for count in (2, 3):
        costs = of_groups(count, lambda s: parts(s)[0] + sum(parts(s)[1].values()))
        buy, own = parts(tuple(range(count)))
        total = sum(rate[:count])
        shares = np.array([buy * rate[i] / total + own[i] for i in range(count)])
        assert keeps_alone(costs, shares)
        assert keeps_alone(costs, shapley(costs))


class TestExcessTiedByChance:
    """Guajardo and Jornsten 2015: only what is tight in every optimum is settled."""

    @pytest.mark.parametrize("name", ["Lemaire", "four", "Oh and Shin", "five"])
    def test_by_the_definition(self, name):
        """No share near by has a sorted list of excesses that is smaller (derived)."""
        costs = PUBLISHED[name][0]
        best = nucleolus(costs)
        mine = np.sort(excesses(costs, best)[1:-1])[::-1]
        rng = np.random.default_rng(7)
        scale = np.abs(costs).max()
        for _ in range(300):
            step = rng.normal(size=len(best))
            step -= step.mean()
            other = best + step * scale * 10.0 ** -rng.integers(1, 5)
            theirs = np.sort(excesses(costs, other)[1:-1])[::-1]
            differ = np.flatnonzero(np.abs(theirs - mine) > 1e-9 * scale)
            assert len(differ)
            assert theirs[differ[0]] > mine[differ[0]]


def random_game(seed: int, count: int) -> np.ndarray:
    """Costs of groups that buy whole containers, and something odd on top now and then."""
    rng = np.random.default_rng(seed)
    needs = rng.uniform(1.0, 12.0, count)
    costs = containers(*needs)
    if seed % 3 == 0:
        costs[1:-1] += rng.uniform(0.0, 200.0, len(costs) - 2)
    return costs


games = st.builds(random_game, st.integers(0, 10_000), st.integers(2, 5))


@pytest.mark.sampled
@settings(max_examples=examples(40), deadline=None)
@given(games)
def test_shares_add_up_to_the_cost_of_all(costs):
    for shares in (shapley(costs), nucleolus(costs), core(costs).shares):
        assert shares.sum() == pytest.approx(costs[-1])


@pytest.mark.sampled
@settings(max_examples=examples(40), deadline=None)
@given(games)
@example(random_game(168, 4))
def test_the_nucleolus_is_in_the_core_whenever_there_is_one(costs):
    """Where there is none, that nobody pays more than alone may cost the worst group more."""
    found = core(costs)
    most = most_overcharged(costs, nucleolus(costs))[1]
    assert keeps_alone(costs, nucleolus(costs)) is not found.empty
    assert most >= found.excess - 1e-3
    assert found.empty or most == pytest.approx(found.excess, abs=1e-3)


@pytest.mark.sampled
@settings(max_examples=examples(40), deadline=None)
@given(games, st.integers(0, 10_000))
def test_both_tests_of_the_core_agree(costs, seed):
    """Fragnelli 2002: stand-alone and incremental test are one."""
    count = len(costs).bit_length() - 1
    rng = np.random.default_rng(seed)
    shares = rng.dirichlet(np.ones(count)) * costs[-1]
    for some in (shares, nucleolus(costs), shapley(costs)):
        assert keeps_alone(costs, some) == keeps_increments(costs, some)


@pytest.mark.sampled
@settings(max_examples=examples(40), deadline=None)
@given(games)
def test_whoever_adds_nothing_pays_nothing(costs):
    """A dummy grower: the last one changes no group's cost."""
    wider = np.concatenate([costs, costs])
    assert shapley(wider)[-1] == pytest.approx(0.0, abs=1e-9 * costs.max())
    assert shapley(wider)[:-1] == pytest.approx(shapley(costs))
    if not core(costs).empty:  # where the core is empty, even the nucleolus may charge a dummy
        assert nucleolus(wider)[-1] == pytest.approx(0.0, abs=1e-6 * costs.max())


@pytest.mark.sampled
@settings(max_examples=examples(40), deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 4))
def test_equal_growers_pay_the_same(seed, count):
    needs = list(np.random.default_rng(seed).uniform(1.0, 12.0, count))
    costs = containers(*needs, needs[0])
    for shares in (shapley(costs), nucleolus(costs)):
        assert shares[0] == pytest.approx(shares[-1], abs=1e-6 * costs[-1])


@pytest.mark.sampled
@settings(max_examples=examples(40), deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 10_000), st.integers(2, 5))
def test_the_shapley_value_is_additive(one, two, count):
    a, b = random_game(one, count), random_game(two, count)
    assert shapley(a + b) == pytest.approx(shapley(a) + shapley(b))


@pytest.mark.sampled
@settings(max_examples=examples(30), deadline=None)
@given(games)
def test_the_shapley_value_is_the_mean_over_all_orders(costs):
    """Shapley 1953, by the definition."""
    count = len(costs).bit_length() - 1
    sums = np.zeros(count)
    orders = list(itertools.permutations(range(count)))
    for order in orders:
        before = 0
        for i in order:
            sums[i] += costs[before | 1 << i] - costs[before]
            before |= 1 << i
    assert shapley(costs) == pytest.approx(sums / len(orders))


@pytest.mark.sampled
@settings(max_examples=examples(30), deadline=None)
@given(games, st.floats(0.0, 0.2), st.integers(0, 10_000))
def test_shares_of_any_true_costs_lie_in_the_range(high, gap, seed):
    low = high * (1.0 - gap)
    least, most = shapley_range(low, high)
    rng = np.random.default_rng(seed)
    for _ in range(5):
        true = low + rng.uniform(0.0, 1.0, len(high)) * (high - low)
        shares = shapley(true)
        assert (shares >= least - 1e-6).all()
        assert (shares <= most + 1e-6).all()


def test_sampled_values_come_near_and_say_how_near():
    costs = airport(*np.random.default_rng(3).uniform(1, 30, 10))
    asked = lru_cache(lambda m: float(costs[m]))
    true = shapley(costs)
    hits = 0
    for seed in range(20):
        found = sampled_shapley(asked, 10, 40, seed)
        assert found.shares.sum() == pytest.approx(costs[-1])
        hits += int((np.abs(found.shares - true) <= found.error + 1e-9).sum())
    assert hits >= 0.88 * 200  # 95 % by design; 40 observations and their skew take some


def test_sampling_two_players_is_exact():
    """An order and its reverse are all orders."""
    costs = PUBLISHED["two"][0]
    found = sampled_shapley(lambda m: float(costs[m]), 2, 3)
    assert tuple(found.shares) == near(60, 30)
    assert tuple(found.error) == near(0, 0)


def test_chances_of_groups_add_up():
    for count in range(1, 9):
        sizes = [math.comb(count - 1, s) for s in range(count)]
        assert float(weights(count) @ np.array(sizes)) == pytest.approx(1.0)


def test_one_player_pays_all():
    costs = np.array([0.0, 5.0])
    assert shapley(costs).tolist() == nucleolus(costs).tolist() == [5.0]
    assert core(costs).shares.tolist() == [5.0]


@pytest.mark.parametrize("costs", [[0.0, 1.0, 2.0], [1.0, 2.0], [0.0]])
def test_what_is_no_game_is_refused(costs):
    with pytest.raises(ValueError, match="2\\^n"):
        shapley(np.array(costs))


def test_twelve_players_in_a_second():
    rng = np.random.default_rng(12)
    costs = containers(*rng.uniform(1.0, 5.0, 12))
    shares = nucleolus(costs)
    assert shares.sum() == pytest.approx(costs[-1])
    assert most_overcharged(costs, shares)[1] == pytest.approx(core(costs).excess, abs=1e-3)
