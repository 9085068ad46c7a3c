"""One function per rule, named as the sentence that it makes true of every plan.

Each takes the problem, the variables and the instance, adds its constraints and returns nothing.
Symbols are those of `planner.optimize.model.variables.Variables`.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from pulp import lpSum

from planner.optimize.model.instance import spread_rules
from planner.optimize.model.line import START, line_kinds
from planner.optimize.model.variables import qualifying

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pulp import LpProblem

    from planner.optimize.model.instance import Instance
    from planner.optimize.model.variables import Variables

Expression = Any


def weighted(terms: Iterable[tuple[float, Any]]) -> Expression:
    """Sum of coefficient x variable."""
    total = lpSum([])
    for c, x in terms:
        if c != 0:
            total.addterm(x, float(c))  # products added up take three times as long
    return total


def fields_are_planted_or_short(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""Acres planted and acres short are the field's acres.

    .. math:: \sum_{l,r} a_{flr} + h_f = A_f
    """
    by_field = defaultdict(list)
    for t, f in enumerate(v.choices.field.tolist()):
        by_field[f].append((1.0, v.acres[t]))
    for f, field in enumerate(it.fields):
        problem.addConstraint(
            weighted([*by_field[f], (1.0, v.short[f])]) == field.acres, f"full_{f}"
        )


def acres_short_add_up(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""Acres short of a priority are those of its fields.

    .. math:: H_p = \sum_{f \in p} h_f
    """
    for priority, total in v.short_in.items():
        mine = [h for h, f in zip(v.short, it.fields, strict=True) if f.priority == priority]
        problem.addConstraint(lpSum(mine) - total == 0, f"short_{priority}")


def shares_are_few_and_not_slivers(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""At most that many (variety, recipe) shares in a field, none under the smallest split.

    .. math:: m_f y_{fvr} \le \sum_{l \in v} a_{flr} \le A_f y_{fvr}, \quad
        \sum_{v,r} y_{fvr} \le K, \quad m_f = \min(split, A_f)

    Where K is 1 the right side is an equation with what the share leaves bare, no more than the
    field is short: then a field that is not short is wholly one share, which the solver can use.

    .. math:: \sum_{l \in v} a_{flr} + o_{fvr} = A_f y_{fvr}, \quad \sum_{v,r} o_{fvr} \le h_f
    """
    farm = it.season.farm
    acres = defaultdict(list)
    for t, (f, lot, k) in enumerate(v.choices.keys):
        acres[f, int(it.variety_of[lot]), k].append((1.0, v.acres[t]))
    by_field, bare = defaultdict(list), defaultdict(list)
    for n, (key, y) in enumerate(v.share.items()):
        whole = it.fields[key[0]].acres
        by_field[key[0]].append((1.0, y))
        if key in v.bare:
            bare[key[0]].append((1.0, v.bare[key]))
            row = weighted([*acres[key], (1.0, v.bare[key]), (-whole, y)]) == 0
        else:
            row = weighted([*acres[key], (-whole, y)]) <= 0
        problem.addConstraint(row, f"within_share_{n}")
        least = min(farm.smallest_split, whole)
        if least > 0:
            problem.addConstraint(weighted([*acres[key], (-least, y)]) >= 0, f"no_sliver_{n}")
    for f, terms in bare.items():
        problem.addConstraint(weighted([*terms, (-1.0, v.short[f])]) <= 0, f"bare_{f}")
    if farm.max_varieties is not None:
        for f, ys in by_field.items():
            if len(ys) > farm.max_varieties:
                problem.addConstraint(weighted(ys) <= farm.max_varieties, f"few_shares_{f}")


def no_lot_has_a_sliver(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""No field has less of a lot under a recipe than the smallest lot share, if it has any.

    .. math:: m_f t_{flr} \le a_{flr} \le A_f t_{flr}, \quad m_f = \min(lot\ share, A_f)

    Where a share has just one lot, its own y says whether there is any: :math:`a_{flr} \ge m_f
    y_{fvr}`.
    """
    least = it.season.farm.smallest_lot_share
    if least <= 0:
        return
    for n, (f, lot, k) in enumerate(v.choices.keys):
        whole, a = it.fields[f].acres, v.acres[n]
        flag = v.lot_share.get((f, lot, k))
        if flag is None:
            flag = v.share[f, int(it.variety_of[lot]), k]
        else:
            problem.addConstraint(a - whole * flag <= 0, f"within_lot_{n}")
        problem.addConstraint(a - min(least, whole) * flag >= 0, f"no_lot_sliver_{n}")


def planted_seed_is_treated(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""Units planted under a recipe are at most the units treated with it, by lot.

    .. math:: \sum_f u_{fl} a_{flr} \le U_l x_{lr} + P_l q_{lr} + before_{lr}
    """
    pools = defaultdict(list)
    c = v.choices
    for t, key in enumerate(zip(c.lot.tolist(), c.recipe.tolist(), strict=True)):
        if key[1] != it.untreated:
            pools[key].append((c.units[t], v.acres[t]))
    for n, (key, planted) in enumerate(sorted(pools.items())):
        lot = it.lots[key[0]]
        have = []
        if key in v.bags:
            have.append((-lot.units_per_bag, v.bags[key]))
        if key in v.part:
            have.append((-it.part_bag[key[0]], v.part[key]))
        if lot.treated_with is not None and key[0] in v.bought:
            have.append((-lot.units_per_bag, v.bought[key[0]]))
        problem.addConstraint(weighted([*planted, *have]) <= it.before.get(key, 0.0), f"pool_{n}")


def bags_are_there_once(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""A lot's full bags, and its part bag, get one recipe or stay untreated.

    .. math:: \sum_r x_{lr} \le bags_l + b_l, \quad \sum_r q_{lr} \le 1
    """
    bags, parts = defaultdict(list), defaultdict(list)
    for (lot, _), x in v.bags.items():
        bags[lot].append((1.0, x))
    for (lot, _), q in v.part.items():
        parts[lot].append((1.0, q))
    for lot, xs in bags.items():
        buy = [(-1.0, v.bought[lot])] if lot in v.bought else []
        problem.addConstraint(weighted([*xs, *buy]) <= int(it.full_bags[lot]), f"bags_{lot}")
    for lot, qs in parts.items():
        if len(qs) > 1:
            problem.addConstraint(weighted(qs) <= 1, f"part_{lot}")


def untreated_seed_is_left_over_from_treating(
    problem: LpProblem, v: Variables, it: Instance
) -> None:
    r"""Seed planted untreated is what was not treated.

    .. math:: \sum_f u_{fl} a_{fl0} + \sum_r (U_l x_{lr} + P_l q_{lr}) \le loose_l + U_l b_l
    """
    planted = defaultdict(list)
    c = v.choices
    for t, (lot, k) in enumerate(zip(c.lot.tolist(), c.recipe.tolist(), strict=True)):
        if k == it.untreated:
            planted[lot].append((c.units[t], v.acres[t]))
    for lot, terms in planted.items():
        size = it.lots[lot].units_per_bag
        taken = [(size, x) for (j, _), x in v.bags.items() if j == lot]
        taken += [(it.part_bag[lot], q) for (j, _), q in v.part.items() if j == lot]
        if lot in v.bought:
            taken.append((-size, v.bought[lot]))
        loose = float(it.full_bags[lot] * size + it.part_bag[lot])
        problem.addConstraint(weighted([*terms, *taken]) <= loose, f"loose_{lot}")


def recipes_run_where_bags_are_treated(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""A recipe is run if anything is treated with it.

    .. math:: x_{lr} \le X_{lr} z_r, \quad q_{lr} \le z_r
    """
    for n, (key, x) in enumerate(v.bags.items()):
        problem.addConstraint(x - v.most_bags[key] * v.run[key[1]] <= 0, f"run_{n}")
    for n, (key, q) in enumerate(v.part.items()):
        problem.addConstraint(q - v.run[key[1]] <= 0, f"run_part_{n}")


def supply_covers_need(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""Stock and ordered containers are what the seed takes, the line losses and what is left.

    .. math:: S_p + \sum_{c,j} (V_c - H_c) n_{cj}
        = \sum_{l,r} \rho_{lrp} (U_l x_{lr} + P_l q_{lr}) + \sum_r L_p z_r + M_p e_p

    Divided by M, the largest container: what is left is counted in those. Where the line stays
    primed, the line losses are :math:`t_{np} L_p W_n`, or :math:`L_p` for every :math:`y_{ij}` that
    brings the product onto the line, in place of those of :math:`z_r`.
    """
    at = it.product_at
    terms: dict[int, list[tuple[float, Any]]] = defaultdict(list)
    for (i, _), n in v.count.items():
        c = it.containers[i]
        terms[at[c.product]].append((c.usable, n))
    for (lot, k), x in v.bags.items():
        for p in it.use[lot, k].nonzero()[0].tolist():
            terms[p].append((-it.use[lot, k, p] * it.lots[lot].units_per_bag, x))
    for (lot, k), q in v.part.items():
        for p in it.use[lot, k].nonzero()[0].tolist():
            terms[p].append((-it.use[lot, k, p] * it.part_bag[lot], q))
    for k, z in v.run.items() if not it.season.farm.line_stays_primed else ():
        for name in sorted({r.product for r in it.recipes[k].rates}):
            terms[at[name]].append((-it.products[at[name]].line_loss, z))
    kinds = line_kinds(it)
    for n, w in v.sequence.items():
        for p, times in v.sequences[n].times if v.sequences else ():
            terms[p].append((-times * it.products[p].line_loss, w))
    for (i, j), y in v.follows.items():
        on = kinds[i].products if i != START else frozenset()
        for p in sorted(kinds[j].products - on):
            terms[p].append((-it.products[p].line_loss, y))
    for p, lump in enumerate(it.lump.tolist()):
        row = [*((a / lump, x) for a, x in terms[p]), (-1.0, v.left[p])]
        problem.addConstraint(weighted(row) == -float(it.supply[p]) / lump, f"cover_{p}")


def recipes_run_in_one_of_the_sequences(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""Recipes that are run are among those of one sequence, which says what the line loses.

    .. math:: z_r \le \sum_{n \ni r} W_n, \quad \sum_n W_n \le 1
    """
    if not v.sequence:
        return
    kind_of = {k: n for n, kind in enumerate(line_kinds(it)) for k in kind.recipes}
    problem.addConstraint(weighted((1.0, w) for w in v.sequence.values()) <= 1, "one_sequence")
    for k, z in v.run.items():
        if k in kind_of:
            holding = [
                (1.0, w)
                for n, w in v.sequence.items()
                if kind_of[k] in (v.sequences or ())[n].kinds
            ]
            problem.addConstraint(weighted([*holding, (-1.0, z)]) >= 0, f"in_sequence_{k}")


def recipes_run_one_after_the_other(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""Kinds of recipes that are run follow one another in one order, from the empty line on.

    .. math:: z_r \le \sum_i y_{ij} \le 1 \; (r \in j), \quad \sum_i y_{ji} \le \sum_i y_{ij},
        \quad \sum_j y_{0j} \le 1, \quad f_{ij} \le N y_{ij}, \quad
        \sum_i f_{ij} - \sum_i f_{ji} = \sum_i y_{ij}, \quad
        \sum_{i \not\ni p, j \ni p} y_{ij} \ge z_r \; (p \in r)

    Flow of one commodity keeps the order from falling apart (Gavish and Graves 1978, from memory);
    the last follows from the others where all is whole: who is run brings his products on.
    """
    kinds, arcs = line_kinds(it), list(v.follows)
    nodes = sorted({j for _, j in arcs})
    if nodes:
        begin = [(1.0, v.follows[START, j]) for j in nodes]
        problem.addConstraint(weighted(begin) <= 1, "one_first")
    for j in nodes:
        into = [(1.0, v.follows[arc]) for arc in arcs if arc[1] == j]
        on = [(1.0, v.follows[arc]) for arc in arcs if arc[0] == j]
        less = [(-c, y) for c, y in into]
        problem.addConstraint(weighted(into) <= 1, f"once_{j}")
        problem.addConstraint(weighted([*on, *less]) <= 0, f"then_{j}")
        come = [(1.0, v.flow[arc]) for arc in arcs if arc[1] == j]
        go = [(-1.0, v.flow[arc]) for arc in arcs if arc[0] == j]
        problem.addConstraint(weighted([*come, *go, *less]) == 0, f"flow_{j}")
        for k in kinds[j].recipes:
            if k in v.run:
                problem.addConstraint(weighted([*into, (-1.0, v.run[k])]) >= 0, f"is_run_{k}")
    for n, (arc, flow) in enumerate(v.flow.items()):
        problem.addConstraint(flow - len(nodes) * v.follows[arc] <= 0, f"flow_on_{n}")
    for p in sorted({p for j in nodes for p in kinds[j].products}):
        brings = [
            (1.0, y)
            for (i, j), y in v.follows.items()
            if p in kinds[j].products and (i == START or p not in kinds[i].products)
        ]
        for k in sorted(k for j in nodes if p in kinds[j].products for k in kinds[j].recipes):
            if k in v.run:
                row = weighted([*brings, (-1.0, v.run[k])]) >= 0
                problem.addConstraint(row, f"primed_{p}_{k}")


OVERLOOKED = 1e-4
"""Share of a container that the solver's tolerance of a millionth may be too coarse for."""


def what_is_not_on_hand_is_bought(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""A recipe that is run has some container of every product that it takes and nobody has.

    .. math:: \sum_{c,j} n_{cj} \ge z_r

    Implied by the cover; written down only for needs so small beside a container that the solver
    would overlook them.
    """
    for p, product in enumerate(it.products):
        if it.supply[p] > 0:
            continue
        mine = {i for i, c in enumerate(it.containers) if c.product == product.name}
        containers = [n for (i, _), n in v.count.items() if i in mine]
        for k, z in v.run.items():
            bags = [it.lots[j].units_per_bag * it.use[j, k, p] for j, r in v.bags if r == k]
            bags += [float(it.part_bag[j] * it.use[j, k, p]) for j, r in v.part if r == k]
            least = min(bags, default=0.0)
            if least > 0 and least + product.line_loss < OVERLOOKED * it.lump[p]:
                problem.addConstraint(lpSum(containers) - z >= 0, f"some_{p}_{k}")


def count_reaches_its_price_break(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""The highest break that the count reaches prices every container.

    .. math:: from_j w_{cj} \le n_{cj} \le (from_{j+1} - 1) w_{cj}, \quad \sum_j w_{cj} \le 1
    """
    for (i, j), w in v.reached.items():
        breaks = it.containers[i].breaks
        last = breaks[j + 1].from_count - 1 if j + 1 < len(breaks) else v.most_count[i]
        n = v.count[i, j]
        problem.addConstraint(n - breaks[j].from_count * w >= 0, f"reach_{i}_{j}")
        problem.addConstraint(n - min(last, v.most_count[i]) * w <= 0, f"below_{i}_{j}")
    for i in sorted({i for i, _ in v.reached}):
        ws = [(1.0, w) for (c, _), w in v.reached.items() if c == i]
        ns = [n for (c, _), n in v.count.items() if c == i]
        problem.addConstraint(weighted(ws) <= 1, f"one_break_{i}")
        problem.addConstraint(lpSum(ns) <= v.most_count[i], f"available_{i}")


def _spend(v: Variables, it: Instance, containers: Iterable[int]) -> list[tuple[float, Any]]:
    wanted = set(containers)
    return [(it.containers[i].breaks[j].price, n) for (i, j), n in v.count.items() if i in wanted]


def freight_is_paid_once_per_supplier(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""A supplier ordered from brings freight, free from a list spend on.

    .. math:: n_{cj} \le N_c s, \quad g \le s, \quad \sum price_{cj} n_{cj} \ge T g
    """
    for s, ordered in v.ordered.items():
        supplier = it.suppliers[s]
        own = [i for i, c in enumerate(it.containers) if c.supplier == supplier.name]
        for (i, j), n in v.count.items():
            if i not in own:
                continue
            if (i, j) in v.reached:
                problem.addConstraint(v.reached[i, j] - ordered <= 0, f"freight_{s}_{i}_{j}")
            else:
                problem.addConstraint(n - v.most_count[i] * ordered <= 0, f"freight_{s}_{i}_{j}")
        if s in v.freight_free:
            free = v.freight_free[s]
            problem.addConstraint(free - ordered <= 0, f"free_{s}")
            problem.addConstraint(
                weighted([*_spend(v, it, own), (-(supplier.free_from or 0.0), free)]) >= 0,
                f"free_from_{s}",
            )


def one_level_of_each_discount_counts(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""A discount takes a percentage of the list spend that qualifies, from a spend on.

    .. math:: D_d \le p_d S_d, \quad D_d \le p_d M_d w_d, \quad S_d \ge T_d w_d, \quad
        \sum_{d \in group} w_d \le 1, \quad \sum_{d \in group} D_d / p_d \le S_{group}

    The last follows where all is whole; without it half of each of two levels takes both off.
    """
    groups = defaultdict(list)
    for d, w in v.level.items():
        level = it.discounts[d]
        spend = _spend(v, it, qualifying(it, d))
        off = [(level.percent * price, n) for price, n in spend]
        problem.addConstraint(
            weighted([(1.0, v.discount[d]), *((-c, n) for c, n in off)]) <= 0, f"off_{d}"
        )
        problem.addConstraint(
            v.discount[d] - level.percent * v.most_spend[d] * w <= 0, f"off_if_{d}"
        )
        problem.addConstraint(weighted([*spend, (-level.spend, w)]) >= 0, f"spend_{d}")
        groups[level.name, level.supplier].append(d)
    for n, group in enumerate(groups.values()):
        if len(group) > 1:
            problem.addConstraint(weighted((1.0, v.level[d]) for d in group) <= 1, f"one_level_{n}")
            taken = [(1.0 / it.discounts[d].percent, v.discount[d]) for d in group]
            spend = _spend(v, it, (i for d in group for i in qualifying(it, d)))
            off = [(-price, n_cj) for price, n_cj in spend]
            problem.addConstraint(weighted([*taken, *off]) <= 0, f"off_once_{n}")


def planted_acres_are_spread(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""No variety, and no span of maturities, takes more than its share of all planted acres.

    .. math:: \sum_{l \in v} a_{flr} \le share \cdot \sum a_{flr}
    """
    planted = float(sum(f.acres for f in it.fields))
    for n, (share, member) in enumerate(zip(*spread_rules(it), strict=True)):
        inside = member[v.choices.lot].tolist()
        acres = [(1.0, a) for a, m in zip(v.acres, inside, strict=True) if m]
        unplanted = [(share, h) for h in v.short]
        problem.addConstraint(weighted([*acres, *unplanted]) <= share * planted, f"spread_{n}")


def money_spent_is_within_the_most(problem: LpProblem, v: Variables, it: Instance) -> None:
    r"""Containers, freight and seed bought, less discounts, are within what may be spent.

    .. math:: \sum price_{cj} n_{cj} + \sum_s F_s (s - g_s) - \sum_d D_d
        + \sum_l U_l P_l b_l \le most
    """
    most = it.season.farm.most_to_spend
    if most is None:
        return
    terms = [(it.containers[i].breaks[j].price, n) for (i, j), n in v.count.items()]
    terms += [(it.suppliers[s].freight, x) for s, x in v.ordered.items()]
    terms += [(-it.suppliers[s].freight, x) for s, x in v.freight_free.items()]
    terms += [(-1.0, x) for x in v.discount.values()]
    terms += [
        (it.lots[lot].units_per_bag * it.lots[lot].buy_price, b) for lot, b in v.bought.items()
    ]
    problem.addConstraint(weighted(terms) <= most, "most_to_spend")


RULES = (
    fields_are_planted_or_short,
    acres_short_add_up,
    shares_are_few_and_not_slivers,
    no_lot_has_a_sliver,
    planted_seed_is_treated,
    bags_are_there_once,
    untreated_seed_is_left_over_from_treating,
    recipes_run_where_bags_are_treated,
    recipes_run_in_one_of_the_sequences,
    recipes_run_one_after_the_other,
    supply_covers_need,
    what_is_not_on_hand_is_bought,
    count_reaches_its_price_break,
    freight_is_paid_once_per_supplier,
    one_level_of_each_discount_counts,
    planted_acres_are_spread,
    money_spent_is_within_the_most,
)
"""Every rule of a plan that is not already in which variables exist."""
