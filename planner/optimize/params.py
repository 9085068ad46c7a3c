"""Every figure of the search that was tuned, so that a caller or a test can pass others.

A line says what its figure was measured at, where that is on record; any other is the first that
served. Costs of whole methods are in README.md beside this. What is no choice (tolerances, widths
of arrays) stays where it is used, and so do the figures of annealing moves, which are compiled
(`annealing/moves.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sized


@dataclass(frozen=True, slots=True)
class Phase:
    """A stretch of the annealing: its share of the budget, smoothing, and temperatures."""

    share: float
    smooth: float
    temperatures: tuple[float, float]
    """First and last, as shares of a mean field's cost (3,000 fields, 60 s: 5,969,000; as shares of
    the whole cost 6,045,000)."""
    of_acres: bool = False
    """Temperatures are in acres short instead."""


@dataclass(frozen=True, slots=True)
class AnnealingParams:
    """How a stretch of annealing cools."""

    rough: tuple[Phase, ...] = (
        Phase(0.4, 0.5, (0.12, 0.03)),
        Phase(0.2, 0.2, (0.06, 0.02)),
        Phase(0.4, 0.0, (0.06, 0.0012)),
    )
    """From orders that can be cut to orders that can't, from rough to fine. Without smoothing it
    ends in the first order that it reaches."""
    fine: tuple[Phase, ...] = (Phase(0.4, 0.1, (0.012, 0.003)), Phase(0.6, 0.0, (0.006, 0.0006)))
    """For a plan that is good already."""
    fewer_short: tuple[Phase, ...] = (
        Phase(0.6, 0.2, (30.0, 0.1), of_acres=True),
        Phase(0.4, 0.0, (0.06, 0.0012)),
    )
    """For as few acres short as can be."""
    fine_acres: tuple[Phase, ...] = (Phase(1.0, 0.1, (1.0, 0.03), of_acres=True),)
    """The same, from a plan that leaves few already."""


@dataclass(frozen=True, slots=True)
class ProofParams:
    """When relaxations and the exact model are solved beside the search, and for how long."""

    exact_shares: int = 250
    """Models with at most that many shares are not relaxed first.

    Random seasons of 8 to 16 fields, 101 to 250 shares: to a proof in 9 s, with six plans made
    beside first in 15 to 36 s; farms of 20 fields, 60 s, a gap of 1.8 against 2.3 % and 2.3 against
    2.4 %."""
    ripe: float = 4.0
    """Seconds of search before that: the exact solve cuts far more off below a good plan.

    A farm of 20 fields, one variety a field, after 40 s of the processor, with presolve and
    without: a gap of 1.6 and 2.0 % where the best plan is known from the start, of 4.6 and 4.4 %
    where not."""
    ripe_share: float = 0.07
    """That wait takes no more than this share of the time. Three farms of 20 fields, two seeds, 10
    s: a mean gap of 2.1 %, with the whole wait 2.8 %. From a minute up all of it fits."""
    glance: float = 1.5
    """Seconds in which such models are tried before that: many are settled in a tenth of it."""
    relaxed_time: float = 0.2
    """Share of the rest for the relaxation with whole bags; after that its bound rises no more."""
    repaired: int = 3
    """Plans made before the relaxation with whole bags, and after it before the exact model takes
    the bound over."""
    patterns_time: float = 0.6
    """Share of the rest for the bound by patterns, where a field has one variety."""
    lots_take: float = 0.5
    """How many times as long it takes with every lot by itself as well, the patterns known: 40
    fields 3.9 s of the processor after 9.9; where that is too long, annealing makes more of the
    time."""
    patterns_seconds: float = 30.0
    """Seconds that must be left for it where there are more shares than that: 40 fields take some
    15 s, 60 some 30, in which the process can't anneal."""
    before_patterns: tuple[float, float] = (4.0, 0.15)
    """Seconds of the exact model alone before it, where that is solved at once; and the share of
    the time left that these may be."""
    branch: float = 8.0
    """Seconds for plans of the patterns generated for that bound, where shares are few: they are
    0.1 to 0.6 % cheaper than what annealing has found by then."""
    branch_time: float = 0.6
    """Share of the time left that these may be."""
    most_patterns: int = 40_000
    """Patterns up to which the exact program over them is solved, and those for every second that
    is left. 20 x 12 x 4: 3,000 to 6,000 take 8 to 50 s; 20,000 leave the bound after 40 s where it
    was, and raise it by 0.15 % in 96 s of the processor."""
    patterns_a_second: float = 250.0
    listed_shares: int = 400
    """Shares up to which it is looked whether they are so few."""
    listings: int = 3
    """How often it is looked whether they are so few: at once, then after ever longer."""
    hope: float = 0.15
    """Share of the time in which a plan with no acre short must be found."""
    hope_seconds: float = 5.0
    """Seconds for that at the least: a busy machine starts processes slowly."""
    hope_most: float = 0.5
    """The share that these may be at the most."""
    most_alone: float = 0.4
    """Share of the time left in which nothing else searches, at the most."""
    stale: float = 15.0
    """Seconds without a better plan after which the search rests while the exact model is
    solved."""
    rest: float = 3.0
    """Rests are that many times as long as turns of the search."""


@dataclass(frozen=True, slots=True)
class ShortageParams:
    """The search for as few acres short as possible."""

    time: float = 0.4
    """Share of the time for it."""
    paid_time: float = 0.7
    """The same where money to spend is limited. 20 x 12 x 4, one variety, 97 % of what a plan
    without the limit pays out, 20 s: 84 acres short, with 0.4 (and annealing only) 224; the best
    known is 81.5."""
    stretch: float = 0.1
    """Share of the time for one stretch of it."""
    first: float = 3.0
    """Seconds of the first look for fewer: what can be covered is to have a complete plan soon."""
    follow: float = 3.0
    """Seconds of a solve that follows the relaxation where all may be cut."""
    from_planting: tuple[bool, ...] = (True, False, True)
    """How plans are made of a relaxation's solution: from its planting, its bags, its planting."""
    few_breaking: float = 0.35
    """Share of fields that may break the field rule in a relaxation that is worth repairing."""
    large_rounds: tuple[float, ...] = (0.2, 1.0)
    """Shares of that time after which large seasons are planted again."""
    known: float = 0.9
    """Share of the time for planting what a plan to begin with leaves short. A farm of 60 fields
    short of money, $1,000 more to spend: 171 acres in 7 s of the processor; the whole search 59 in
    as long."""
    few_pairs: int = 120
    """Pairs of fields and varieties up to which the relaxation without bags is proven best where a
    field has one variety; where it may have several that takes a few seconds."""
    few_time: float = 0.5
    """Share of the time left for solving it first."""
    aggregated_time: float = 0.7
    """Share of the time for that; the rest for planting what it says."""
    possible_time: float = 0.4
    """Share of the time left for what fields can have at all if no more acres are short than that
    relaxation has, and for a plan of it."""
    varieties: tuple[float, float] = (2.0, 3.0)
    """Varieties of that relaxation freed at once: the fewest, and at first."""
    quick: float = 0.2
    """Seconds of such a solve after which more are freed."""
    long: float = 1.0
    """Most seconds of one."""
    grow: float = 0.1
    """How many more are freed after a quick solve."""
    shrink: float = 0.3
    """How many fewer after any other."""
    try_nodes: int = 100
    """Most nodes of one, where work is counted."""
    try_steps: int = 30
    """Steps that it counts."""


@dataclass(frozen=True, slots=True)
class LargeParams:
    """Large seasons: column generation, Benders decomposition, diving."""

    first_columns: int = 12
    """Choices of a field that the relaxation starts with."""
    join: int = 6
    """Choices of a field that join it at once."""
    relaxation_gap: float = 5e-4
    """What choices that have not joined may still save, as a share of the bound."""
    promising: int = 25
    """Choices of a field that the search goes over once prices are known."""
    bound_time: float = 0.3
    """Share of the time left for each stage of the bound."""
    runs_time: float = 0.15
    """Share of the time left for orders with recipes that run wholly."""
    slow: float = 0.75
    """Share of the time that must be left after the relaxation for orders to be looked at apart."""
    order_gap: float = 3e-4
    """Distance of the best order's cost from the bound, as a share, that is close enough."""
    turns: int = 80
    """Most orders that the program over orders proposes."""
    least_turns: int = 10
    """Orders that must be planted before one is good enough to be held; where there is no time for
    so many, none is looked for. 3,000 fields, 600 s: eleven took 200 s, and none sufficed."""
    verify: int = 8
    """Turns after which its bound is verified by a second solve; in the end it always is."""
    planting: float = 0.1
    """Share of the time left for what is planted under the best order."""
    between: float = 0.5
    """Where between the best order and the one that the cuts propose the next cut is made."""
    near: float = 0.4
    """Distance from the bound, as a share, up to which an order is worth a wider choice."""
    out_of_nowhere: tuple[float, float] = (3.0, 8.0)
    """Price of product out of nowhere, by the dearest available; how it is raised if still used."""
    rooms: tuple[float, ...] = (0.02, 0.01, 0.03)
    """Share of a product's supply kept over while diving, so that whole bags fit; tried in turn."""
    repair_time: float = 0.15
    """Share of the time left for repairing fields that a dive leaves in breach of the field
    rule."""
    batch: float = 0.15
    """Share of what is open that a dive holds at once, as long as that goes well."""
    failures: int = 40
    """How often a step of it may fail before the rest is left as it is."""
    small: float = 0.6
    """Lots under a recipe with fewer bags may be closed instead of rounded up."""


@dataclass(frozen=True, slots=True)
class StrategyParams:
    """The strategies that make plans, and which of them runs next."""

    exploration: float = 0.3
    """How often a strategy runs that does not have the highest reward."""
    late: float = 0.15
    """Share of the time in the end in which any plans seen in annealing are worth putting
    together."""
    most_more: int = 6
    """Most processes that search beside the two that there always are."""
    first_gap: float = 0.1
    """How near its best the order of the first plan must be: nothing is known yet to order for."""
    first_seconds: tuple[float, float] = (5.0, 60.0)
    """Seconds for that order; a busy machine may find none in the first of these."""
    runner_up: float = 8.0
    """Most seconds for the second-best order, all of its small programs together."""
    order_seconds: float = 2.0
    """Most time in the end for the cheapest order for what an unproven plan treats."""
    idle: float = 0.08
    """Share of the time in which a solve near a solution must find a better one to go on."""
    idle_most: float = 2.4
    """Seconds of that at the most where a field may have several varieties, as many times as long
    as there are times 60 fields: several short solves find more than one long one.

    60 s: 60 x 30 x 6, three varieties, a gap of 0.4 % so, else 0.8; with one variety 60 x 40 x 8
    ends 0.03 and 0.25 % dearer so."""
    longest: float = 1.75
    """How many times as long such a solve takes at the most."""
    worth_polishing: float = 1.02
    """Plans that cost more than this many times the best one are not polished."""
    samples: int = 150
    """Plans kept of a stretch of annealing, for their patterns."""
    patterns: int = 1400
    """Patterns that are first chosen from, those with the lowest reduced cost."""
    patterns_kept: int = 20_000
    """Most patterns that are kept for another time, likewise."""
    patterns_growth: float = 1.25
    """How many times as many the next time, where the best was proven; else as few."""
    order_near_enough: float = 2e-4
    """How near the best the bags for an order that is held need be."""
    poor: float = 1.005
    """Plans of it that cost that many times as much as the best one say that the bags have too
    little room in the order."""
    rooms: tuple[float, ...] = (0.0, 0.005, 0.01, 0.02)
    """Shares of what an order's solution needs that bags for it leave over, tried in turn.

    A new order with that over in place of the old one took one keg more where the bags find room
    in the old: 60 x 30 x 6, two varieties, seed 47, 60 s: 109,281 so, now 108,039 to 109,259."""
    whole_bags: float = 0.5
    """How often bags are those of the relaxation with whole bags, if it is cheaper than any
    plan."""
    own_order: float = 0.3
    """How often the order held is that of the best plan, where that is good."""
    around_best: float = 0.7
    """How often plans are looked for around the best one, where that is good."""
    around_tried: float = 0.25
    """The same once nothing better was found around it."""
    priced: float = 0.7
    """How often plans near whole bags have priced shares only; always where no plan is good."""
    longer: float = 2.0
    """How many times as long such a plan is looked for where none is good."""
    good: float = 0.03
    """Share by which a good plan may cost more than the order held with cut bags."""
    good_room: float = 0.015
    """The same where the room that bags were given is to stay: more may be a container too many."""
    around: int = 6
    """Neighborhoods of it in turn."""
    around_fields: int = 22
    """Fields of each."""
    around_time: float = 0.8
    """Most time of each, as a share of that in which a solve must find something better.

    60 x 30 x 6, two varieties, seed 48, from a plan of 173,723, 2 s each, 30 s of the processor:
    170,853 to 171,923 with 12 to 25 fields, all fields at once 171,216; neighborhoods of 12 fields
    with any shares and bags 173,647."""
    order_free: float = 0.3
    """How often the order is free there."""
    price_step: float = 0.04
    """Share of what an acre costs by which a share that breaks the field rule becomes dearer."""
    price_runs: int = 6
    """Runs of that, each with other prices to begin with."""
    price_turns: int = 40
    """Linear programs of a run at the most."""
    price_time: float = 0.6
    """Time for all runs, as a share of that in which a solve must find something better."""


@dataclass(frozen=True, slots=True)
class LineParams:
    """A primed line: up to where sequences of recipes are worked out beforehand.

    On the demo the model that orders the recipes itself left a gap of 3.5 % after a minute, the
    sequences 0.5 %.
    """

    most_kinds: int = 10
    """Kinds of recipes up to which all sequences are worked out."""
    most_labels: int = 60_000
    """Beginnings looked at after which that is given up."""


@dataclass(frozen=True, slots=True)
class StayParams:
    """Staying near a plan."""

    ends: tuple[float, float, float, float, float] = (0.15, 0.2, 0.35, 0.45, 0.6)
    """Shares of the time by which each step ends: fewest acres proven, a plan of them, cheapest
    under that cap, cheapest near known plans, all free. The rest is for what moves save."""
    orders: int = 2
    """Plans whose bags and orders are tried near known plans."""
    each: tuple[float, float] = (0.2, 3.0)
    """Seconds at least and at most for a solve with one of the moves put back."""
    most_tried: int = 8
    """Moves tried at most for the one that saves least."""
    whole_model: int = 6_000
    """Choices above which only shares near the known plans stay open."""


@dataclass(frozen=True, slots=True)
class SearchParams:
    """Figures of the search that were tuned, for a caller that wants a season to go another way."""

    head_start: tuple[tuple[int, float], ...] = ((150, 15.0),)
    """Seconds after which others search beside the exact solve, for models up to that many shares.

    Twelve farms of 101 to 152 shares, 25 s: 249 s in all, where only up to 100 have it 278 s; gaps
    of the eight not proven 2.31 % on average, without 2.36.

    Up to the same with 4 s for those of 101 to 250 shares: a farm of 20 fields with one variety a
    field ends at a gap of 3.9 %, without at 1.8 to 2.3."""
    many_choices: int = 20_000
    """Seasons with more choices are searched over the promising ones of every field.

    At 36,000 (200 fields, 60 s) the gap is 2.2 % so, over all choices 4.7 %, at the same cost."""
    first_choices: int = 25
    """Choices that a field is first offered in such a season.

    With 6 or 12 the plans of large seasons are more expensive."""
    small_shares: int = 100
    """Models with at most that many shares go to the exact model for acres short at once."""
    step_nodes: int = 300
    """Branch-and-bound nodes, or annealing moves, that count as one step of effort.

    A unit of counting: nothing was tuned."""
    enough_seen: int = 400
    """Plans seen in annealing before their patterns are put together.

    Measured, with all of that method, on 60 x 40 x 8 and farm-60, one variety a field, 60 s."""
    enough_seen_for_acres: int = 200
    """The same where acres short are aimed at: that program is soon solved."""
    without: frozenset[str] = frozenset()
    """Strategies and bounds to do without, by their names (`search.strategies.NAMES`).

    What each is worth is measured so (`reports/ablation.py`)."""
    annealing: AnnealingParams = AnnealingParams()
    proof: ProofParams = ProofParams()
    shortage: ShortageParams = ShortageParams()
    large: LargeParams = LargeParams()
    strategies: StrategyParams = StrategyParams()
    line: LineParams = LineParams()
    stay: StayParams = StayParams()

    def are_many(self, choices: Sized) -> bool:
        """Whether a season has so many choices that they are never all written down."""
        return len(choices) > self.many_choices


TUNED = SearchParams()
"""The figures as they were tuned."""
