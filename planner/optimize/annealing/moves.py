"""The moves of annealing: plain loops over arrays, compiled by `annealing.compiled`.

Everything works on three tuples of arrays: what never changes (`Facts`), what a need costs
(`Prices`), and the current plan (`Tally`). No function here allocates or touches objects.
"""

from __future__ import annotations

from math import ceil, inf, log
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

EPS = 1e-9
BARRED = 1e15
"""Cost of a lot that is out of bags."""
PIECES = 12
"""Most pieces of a field."""
MOST_OFF = 10
"""Most fields taken off at a time."""
CHAINS, SWAPS = 0.6, 0.2
"""Shares of moves that are ejection chains and swaps; the others ruin and recreate."""
IN_THE_WAY = 2
"""Most fields that an ejection chain drives off the lot."""
FILLS = 2
"""Choices whose open bags are tried for a part of a field."""
GRID = 4096
"""Places in a product's steps from which a cost is looked for."""
NOISE = 0.02
"""How far off an offer may be taken, as a share, in every other field that is placed."""


class Facts(NamedTuple):
    """What never changes. Fields, lots, pools (lot and recipe), choices (field and pool).

    Arrays have one number for each field, choice, pool or lot, as said, or the shape said.
    """

    acres: Floats
    """Acres; by field, as those up to `lots`."""
    split: Floats
    """Least acres that a share may have."""
    lot_split: Floats
    """Least acres that a choice may have."""
    short_price: Floats
    """Money that an acre short counts as."""
    first: Ints
    """Where the choices of each field start; one more than there are fields."""
    any_twin: Bools
    """Whether any choice of the field has a twin."""
    lots: Ints
    """Lots of field f: `lots[lots_at[f] : lots_at[f + 1]]`."""
    lots_at: Ints
    fields: Ints
    """Fields of each lot, likewise."""
    fields_at: Ints
    pool: Ints
    """Pool; by choice, as those up to `loss`."""
    share: Ints
    """Number of the (variety, recipe) share."""
    twin: Bools
    """Whether another lot of the field offers the same share."""
    units: Floats
    """Units an acre."""
    loss: Floats
    """Expected yield loss counted in the cost, money an acre."""
    lot: Ints
    """Lot; by pool, as those up to `done`."""
    recipe: Ints
    """Recipe; the last one stands for untreated seed."""
    size: Floats
    """Units a bag."""
    treats: Bools
    """Whether bags are treated for it (not: planted untreated, or treated before)."""
    loose: Bools
    """Whether it is planted untreated."""
    use: Floats
    """Fl oz a bag takes: pool x product."""
    bag_worth: Floats
    """Money a bag from stock is worth untreated."""
    unit_worth: Floats
    """Money a unit planted untreated is worth."""
    done: Floats
    """Units treated before."""
    pools_at: Ints
    """Where the pools of each lot start; one more than there are lots."""
    full: Ints
    """Full bags of the lot on hand; by lot, as those up to `bought_extra`."""
    ceiling: Ints
    """Bags of the lot on hand and available."""
    part_size: Floats
    """Units in the lot's part bag."""
    bought_extra: Floats
    """Money that a bag bought costs beyond the worth of one from stock."""
    line: Floats
    """Line losses, fl oz: recipe x product."""
    primed: bool
    """Whether a product's line loss is taken once for all recipes; more is the model's to find."""
    rule_has: Bools
    """Whether a lot counts to a rule about shares of all planted acres: rule x lot."""
    most_shares: int
    """Most shares of a field."""


class Prices(NamedTuple):
    """Steps of every product one after the other: a need up to `reach` costs `cost`."""

    reach: Floats
    """Fl oz; by step, as `cost`."""
    cost: Floats
    """Money."""
    begin: Ints
    """Step to look from, by whole number of `width`: product x `GRID`."""
    width: Floats
    """Fl oz; by product, as `slope`."""
    slope: Floats
    """Money a fl oz needed, on top."""


class Tally(NamedTuple):
    """What is in the current plan, and what that comes to."""

    choice: Ints
    """Field x `PIECES`."""
    piece: Floats
    """Acres: field x `PIECES`."""
    pieces: Ints
    """Number of pieces, by field."""
    short: Floats
    """Acres not planted, by field."""
    have: Floats
    """Units that need no full bag, treated before or in the part bag; by pool, up to `bags`."""
    demand: Floats
    """Units planted."""
    bags: Ints
    """Full bags in use."""
    lot_bags: Ints
    """Full bags of all its pools; by lot, as those up to `part_free`."""
    lot_part: Ints
    """Pool that has the lot's part bag, or -1."""
    part_free: Floats
    """Units of each lot's part bag while no recipe has it."""
    running: Ints
    """Pools in use, by recipe."""
    need: Floats
    """Fl oz, by product."""
    spent: Floats
    """Cost of what is needed, by product."""
    other: Floats
    """Seed given up and bought, and yield lost: one number."""
    rule_cap: Floats
    """Acres that a rule about shares of all planted acres allows, by rule."""
    rule_acres: Floats
    """Acres that count to it, by rule."""


class Scratch(NamedTuple):
    """Room to work in."""

    offers: Floats
    """What a field, or a part of it, would cost; by its choices, as `fills`."""
    fills: Floats
    """Acres of it that bags open anyway would plant."""
    near: Floats
    """Lots in common with a field; by field, as `seen`."""
    seen: Bools
    touched: Bools
    """Whether a move changes the lot, by lot."""
    chosen: Ints
    """Fields taken off, in the order of the move."""
    rank: Floats
    """What fields are chosen by, by field; then what the chosen are put in order by."""
    choice: Ints
    """What the fields taken off had, as in `Tally`: chosen x `PIECES`."""
    piece: Floats
    pieces: Ints
    held: Ints
    """What one field has while others are tried for it, choices and acres."""
    held_acres: Floats


# Made here, so that what the compiler keeps of them is new when the tuples are.


def make_facts(*parts: Any) -> Facts:
    """Put facts together."""
    return Facts(*parts)


def make_prices(*parts: Any) -> Prices:
    """Put prices together."""
    return Prices(*parts)


def make_tally(*parts: Any) -> Tally:
    """Put a tally together."""
    return Tally(*parts)


def make_scratch(*parts: Any) -> Scratch:
    """Put scratch together."""
    return Scratch(*parts)


def copy(a: Any, b: Any) -> None:
    """Copy one array into another (slices compiled ten times as long)."""
    for i in range(len(a)):
        b[i] = a[i]


def fill(a: Any, value: Any) -> None:
    """Set a whole array."""
    for i in range(len(a)):
        a[i] = value


def largest(a: Floats, n: int) -> int:
    """Place of the largest of the first n values."""
    best = 0
    for i in range(n):
        if a[i] > a[best]:
            best = i
    return best


def copy_tally(a: Tally, b: Tally) -> None:
    """Copy all but the pieces."""
    copy(a.short, b.short)
    copy(a.have, b.have)
    copy(a.demand, b.demand)
    copy(a.bags, b.bags)
    copy(a.lot_bags, b.lot_bags)
    copy(a.lot_part, b.lot_part)
    copy(a.part_free, b.part_free)
    copy(a.running, b.running)
    copy(a.need, b.need)
    copy(a.spent, b.spent)
    copy(a.other, b.other)
    copy(a.rule_acres, b.rule_acres)


def copy_plan(a: Tally, b: Tally) -> None:
    """Copy everything."""
    copy_tally(a, b)
    copy(a.pieces, b.pieces)
    for f in range(len(a.pieces)):
        copy(a.choice[f], b.choice[f])
        copy(a.piece[f], b.piece[f])


def cost_of(c: Prices, p: int, need: float) -> float:
    """What a need for a product costs."""
    aim = need - 1e-7
    at = c.begin[p, min(GRID - 1, max(0, int(aim / c.width[p])))]
    while c.reach[at] < aim:
        at += 1
    return c.cost[at] + c.slope[p] * need


def add_need(s: Tally, c: Prices, use: Floats, times: float) -> None:
    """Need so many times what `use` says of each product."""
    for p in range(len(use)):
        if use[p] != 0.0:
            s.need[p] += times * use[p]
            s.spent[p] = cost_of(c, p, s.need[p])


def order_cost(s: Tally) -> float:
    """Order cost of what is needed now."""
    total = 0.0
    for p in range(len(s.spent)):
        total += s.spent[p]
    return total


def price(x: Facts, s: Tally) -> float:
    """Cost of the annealing state, acres short at their penalty."""
    total = order_cost(s) + s.other[0]
    for f in range(len(x.acres)):
        if s.short[f] > 1e-7:
            total += x.short_price[f] * s.short[f]
    return total


def bags_for(missing: float) -> int:
    """Whole bags for so many, with the slack of rounding."""
    return max(0, ceil(missing - EPS * max(1.0, abs(missing))))


# --- putting on and taking off ---


def set_pool(x: Facts, s: Tally, c: Prices, pool: int, demand: float) -> None:
    """Set the units wanted of a pool, and open or close bags for them."""
    s.other[0] += x.unit_worth[pool] * (demand - s.demand[pool])
    s.demand[pool] = demand
    bags = bags_for((demand - s.have[pool]) / x.size[pool])
    old = s.bags[pool]
    if bags == old:
        return
    lot = x.lot[pool]
    count_run(x, s, c, pool, int(bags > 0) - int(old > 0))
    s.bags[pool] = bags
    full, was = x.full[lot], s.lot_bags[lot]
    now = was + bags - old
    bought = max(0, now - full) - max(0, was - full)
    s.lot_bags[lot] = now
    s.other[0] += (bags - old) * x.bag_worth[pool] + bought * x.bought_extra[lot]
    add_need(s, c, x.use[pool], bags - old)


def count_run(x: Facts, s: Tally, c: Prices, pool: int, change: int) -> None:
    """Note that a pool is used, or no more; the recipe's line losses come and go with it."""
    if change == 0 or not x.treats[pool]:
        return
    recipe = x.recipe[pool]
    was = s.running[recipe] > 0
    s.running[recipe] += change
    runs = s.running[recipe] > 0
    if runs != was and not x.primed:
        add_need(s, c, x.line[recipe], 1.0 if runs else -1.0)
    elif runs != was:
        for p in range(len(s.need)):
            loss = x.line[recipe, p]
            if loss > 0.0 and not is_primed(x, s, recipe, p):
                s.need[p] += loss if runs else -loss
                s.spent[p] = cost_of(c, p, s.need[p])


def is_primed(x: Facts, s: Tally, recipe: int, product: int) -> bool:
    """Whether another recipe that runs holds a product."""
    for k in range(len(s.running)):
        if k != recipe and s.running[k] > 0 and x.line[k, product] > 0.0:
            return True
    return False


def put(x: Facts, s: Tally, c: Prices, field: int, choice: int, acres: float) -> None:
    """Plant acres of a field."""
    n = s.pieces[field]
    s.choice[field, n] = choice
    s.piece[field, n] = acres
    s.pieces[field] = n + 1
    s.short[field] -= acres
    s.other[0] += x.loss[choice] * acres
    pool = x.pool[choice]
    demand = s.demand[pool] + x.units[choice] * acres
    lot = x.lot[pool]
    if s.part_free[lot] > 0.0 and x.treats[pool]:
        missing = demand - s.have[pool]
        opens = bags_for(missing / x.size[pool]) > s.bags[pool]
        if opens and part_saves(x, pool, missing, x.part_size[lot]):
            give_part(x, s, c, lot, pool)
    set_pool(x, s, c, pool, demand)
    for r in range(len(s.rule_cap)):
        if x.rule_has[r, lot]:
            s.rule_acres[r] += acres


def take(x: Facts, s: Tally, c: Prices, field: int) -> None:
    """Take a field out of the plan."""
    n = s.pieces[field]
    s.pieces[field] = 0
    s.short[field] = x.acres[field]
    for i in range(n):
        choice, acres = s.choice[field, i], s.piece[field, i]
        s.other[0] -= x.loss[choice] * acres
        pool = x.pool[choice]
        rest = s.demand[pool] - x.units[choice] * acres
        set_pool(x, s, c, pool, rest if rest > EPS else 0.0)
        lot = x.lot[pool]
        if s.lot_part[lot] == pool and rest <= x.done[pool] + EPS:
            give_part(x, s, c, lot, -1)
        for r in range(len(s.rule_cap)):
            if x.rule_has[r, lot]:
                s.rule_acres[r] -= acres


def give_part(x: Facts, s: Tally, c: Prices, lot: int, pool: int) -> None:
    """Give a lot's part bag to a pool, or to none (-1)."""
    old = s.lot_part[lot]
    if old == pool:
        return
    size = x.part_size[lot]
    for turn in range(2):
        place = old if turn == 0 else pool
        if place < 0:
            continue
        sign = -1 if turn == 0 else 1
        part = sign * size / x.size[place]
        add_need(s, c, x.use[place], part)
        s.other[0] += part * x.bag_worth[place]
        count_run(x, s, c, place, sign)
        s.have[place] = x.done[place] + (size if sign > 0 else 0.0)
        set_pool(x, s, c, place, s.demand[place])
    s.lot_part[lot] = pool
    s.part_free[lot] = size if pool < 0 else 0.0


def part_saves(x: Facts, pool: int, missing: float, part: float) -> bool:
    """Whether a part bag would stand for a full one, that many units missing."""
    size = x.size[pool]
    without = bags_for(missing / size)
    return x.treats[pool] and without > 0 and bags_for((missing - part) / size) < without


def fit_part(x: Facts, s: Tally, c: Prices, lot: int) -> None:
    """Give a lot's part bag to the pool where it saves most, or to none."""
    part = x.part_size[lot]
    if part <= 0.0:
        return
    best, best_cost, first = -1, inf, True
    for pool in range(x.pools_at[lot], x.pools_at[lot + 1]):
        if not part_saves(x, pool, s.demand[pool] - x.done[pool], part):
            continue
        if first:
            give_part(x, s, c, lot, -1)
            best_cost = lot_cost(x, s, lot)
            first = False
        give_part(x, s, c, lot, pool)
        cost = lot_cost(x, s, lot)
        if cost < best_cost - 1e-9:
            best, best_cost = pool, cost
    give_part(x, s, c, lot, best)


def lot_cost(x: Facts, s: Tally, lot: int) -> float:
    """Cost of the annealing state as far as a part bag can change it."""
    over = BARRED if s.lot_bags[lot] > x.ceiling[lot] else 0.0
    return order_cost(s) + s.other[0] + over


# --- what could be put on ---


def rule_room(x: Facts, s: Tally, lot: int) -> float:
    """Acres that the shares of all planted acres still leave for a lot."""
    room = inf
    for r in range(len(s.rule_cap)):
        if x.rule_has[r, lot]:
            room = min(room, max(0.0, s.rule_cap[r] - s.rule_acres[r]))
    return room


def offer(x: Facts, s: Tally, c: Prices, choice: int, acres: float) -> float:
    """Cost of `acres` more under a choice; inf where that can't be."""
    pool = x.pool[choice]
    lot, size = x.lot[pool], x.size[pool]
    units = x.units[choice] * acres
    if acres > rule_room(x, s, lot) + EPS:
        return inf
    cost = units * x.unit_worth[pool] + x.loss[choice] * acres
    missing = (s.demand[pool] + units - s.have[pool]) / size - s.bags[pool]
    more = bags_for(missing)
    if more == 0:
        return cost
    part = s.part_free[lot] / size
    if part > 0.0 and x.treats[pool] and bags_for(missing - part) < more:
        more -= 1
    else:
        part = 0.0
    now, full = s.lot_bags[lot], x.full[lot]
    after = now + more
    if after > x.ceiling[lot]:
        return inf
    bought = max(0, after - full) - max(0, now - full)
    taken = more + part
    cost += taken * x.bag_worth[pool] + bought * x.bought_extra[lot]
    recipe = x.recipe[pool]
    fresh = x.treats[pool] and s.running[recipe] == 0
    for p in range(len(s.need)):
        need = taken * x.use[pool, p]
        if fresh and not (x.primed and is_primed(x, s, recipe, p)):
            need += x.line[recipe, p]
        if need != 0.0:
            cost += cost_of(c, p, s.need[p] + need) - s.spent[p]
    return cost


def has_share(x: Facts, s: Tally, field: int, share: int) -> bool:
    """Whether a field has a share in the current plan."""
    for i in range(s.pieces[field]):
        if x.share[s.choice[field, i]] == share:
            return True
    return False


def count_shares(x: Facts, s: Tally, field: int) -> int:
    """Shares that a field has in the current plan."""
    count = 0
    for i in range(s.pieces[field]):
        share, new = x.share[s.choice[field, i]], 1
        for j in range(i):
            if x.share[s.choice[field, j]] == share:
                new = 0
        count += new
    return count


def may_open(x: Facts, s: Tally, field: int, acres: float) -> bool:
    """Whether the field rule lets a field have that many acres of one more share."""
    return count_shares(x, s, field) < x.most_shares and acres >= x.split[field] - EPS


def make_offers(
    x: Facts, s: Tally, c: Prices, w: Scratch, rng: Any, field: int, acres: float, noise: float
) -> int:
    """Cost of acres of a field under each of its choices, into scratch; the place of the best."""
    a, b = x.first[field], x.first[field + 1]
    free = s.pieces[field] == 0 and acres >= x.split[field] - EPS
    free = free or may_open(x, s, field, acres)
    whole = acres >= x.lot_split[field] - EPS
    best = 0
    for n in range(b - a):
        if free or (has_share(x, s, field, x.share[a + n]) and whole):
            cost = offer(x, s, c, a + n, acres)
            if noise > 0.0 and cost < inf:
                cost += abs(cost) * noise * rng.random()
        else:
            cost = inf
        w.offers[n] = cost
        if cost < w.offers[best]:
            best = n
    return best


def slack(x: Facts, s: Tally, choice: int) -> float:
    """Acres that the seed already treated and not planted would cover under a choice."""
    pool = x.pool[choice]
    if x.loose[pool]:
        return 0.0
    free = s.have[pool] + s.bags[pool] * x.size[pool] - s.demand[pool]
    return max(0.0, free) / x.units[choice]


def room(x: Facts, s: Tally, choice: int) -> float:
    """Acres that a lot could still cover under a choice, bags not yet opened included."""
    pool = x.pool[choice]
    lot = x.lot[pool]
    bags = max(0, x.ceiling[lot] - s.lot_bags[lot])
    return slack(x, s, choice) + max(0.0, bags * x.size[pool] / x.units[choice] - EPS)


def fill_acres(x: Facts, s: Tally, field: int, choice: int, acres: float) -> float:
    """Acres that open bags would cover under a choice, and that leave no sliver; or 0."""
    least = x.split[field]
    part = min(slack(x, s, choice), rule_room(x, s, x.lot[x.pool[choice]]), acres)
    rest = acres - part
    if EPS < rest < least and not x.twin[choice]:
        part = acres - least
    elif EPS < rest < x.lot_split[field]:
        part = acres - x.lot_split[field]
    if part < x.lot_split[field] - EPS:
        return 0.0
    held = has_share(x, s, field, x.share[choice])
    if not held and (not may_open(x, s, field, acres) or part < least - EPS):
        return 0.0
    if count_shares(x, s, field) + 1 > x.most_shares and not x.twin[choice]:
        return 0.0
    return part


def best_fill(
    x: Facts, s: Tally, c: Prices, w: Scratch, rng: Any, field: int, acres: float, whole: float
) -> tuple[int, float]:
    """A part of the field for bags that are open anyway, where that beats planting it whole."""
    none = (-1, 0.0)
    if x.most_shares == 1 and not x.any_twin[field]:
        return none
    if whole < inf and rng.random() < 0.6:
        return none
    a, b = x.first[field], x.first[field + 1]
    for n in range(b - a):
        w.fills[n] = fill_acres(x, s, field, a + n, acres)
    best, best_cost = none, whole
    for _ in range(FILLS):
        n = largest(w.fills, b - a)
        part = w.fills[n]
        w.fills[n] = 0.0
        if part <= 1e-3:
            break
        if part >= acres - EPS:
            continue
        cost = cost_of_rest(x, s, c, w, rng, field, a + n, part, acres - part)
        if cost < best_cost - 1e-6:
            best, best_cost = (a + n, part), cost
    return best


def cost_of_rest(
    x: Facts,
    s: Tally,
    c: Prices,
    w: Scratch,
    rng: Any,
    field: int,
    choice: int,
    part: float,
    rest: float,
) -> float:
    """Cost of a part of a field in open bags, and of its rest at the best offer."""
    held = s.pieces[field]
    for i in range(held):
        w.held[i] = s.choice[field, i]
        w.held_acres[i] = s.piece[field, i]
    put(x, s, c, field, choice, part)
    best = make_offers(x, s, c, w, rng, field, rest, 0.0)
    cost = w.offers[best] + x.loss[choice] * part
    take(x, s, c, field)
    for i in range(held):
        put(x, s, c, field, w.held[i], w.held_acres[i])
    return cost


def largest_part(
    x: Facts, s: Tally, c: Prices, w: Scratch, field: int, acres: float
) -> tuple[int, float]:
    """The choice under which most of a field can be planted where none takes it whole."""
    a, b = x.first[field], x.first[field + 1]
    free = may_open(x, s, field, acres)
    for n in range(b - a):
        most = 0.0
        if free or has_share(x, s, field, x.share[a + n]):
            most = min(room(x, s, a + n), rule_room(x, s, x.lot[x.pool[a + n]]), acres)
        w.fills[n] = most
    for _ in range(5):
        n = largest(w.fills, b - a)
        size = w.fills[n]
        w.fills[n] = 0.0
        if size <= 1e-6:
            break
        sliver = size < x.split[field] - EPS and not has_share(x, s, field, x.share[a + n])
        sliver = sliver or size < x.lot_split[field] - EPS
        if not sliver and offer(x, s, c, a + n, size) < inf:
            return a + n, size
    return -1, 0.0


def place(x: Facts, s: Tally, c: Prices, w: Scratch, rng: Any, field: int, noise: float) -> None:
    """Plant a field, or the rest of it, at the least cost; what can't be planted stays short."""
    first = x.first[field]
    for _ in range(8):
        acres = s.short[field]
        if acres <= EPS or x.first[field + 1] == first or s.pieces[field] >= PIECES - 1:
            return
        best = make_offers(x, s, c, w, rng, field, acres, noise)
        whole = w.offers[best]
        choice, part = best_fill(x, s, c, w, rng, field, acres, whole)
        if choice < 0 and whole == inf:
            choice, part = largest_part(x, s, c, w, field, acres)
            if choice < 0:
                return
        if choice < 0:
            put(x, s, c, field, first + best, acres)
            return
        put(x, s, c, field, choice, part)


# --- taking fields off and placing them again ---


def count_near(x: Facts, w: Scratch, field: int) -> float:
    """How many of a field's lots each field shares, into scratch; the most."""
    fill(w.near, 0.0)
    most = 0.0
    for i in range(x.lots_at[field], x.lots_at[field + 1]):
        lot = x.lots[i]
        for j in range(x.fields_at[lot], x.fields_at[lot + 1]):
            field = x.fields[j]
            w.near[field] += 1.0
            most = max(most, w.near[field])
    return most


def mark_mates(x: Facts, s: Tally, w: Scratch, field: int) -> None:
    """Mark the fields that share a lot with a field in the current plan, itself among them."""
    w.seen[field] = True
    for i in range(s.pieces[field]):
        lot = x.lot[x.pool[s.choice[field, i]]]
        for j in range(x.fields_at[lot], x.fields_at[lot + 1]):
            other = x.fields[j]
            for k in range(s.pieces[other]):
                if x.lot[x.pool[s.choice[other, k]]] == lot:
                    w.seen[other] = True


def pick_any(x: Facts, w: Scratch, rng: Any, size: int) -> int:
    """Choose any fields."""
    fill(w.seen, False)
    n = 0
    while n < size:
        field = rng.integers(0, len(x.acres))
        if not w.seen[field]:
            w.seen[field] = True
            w.chosen[n] = field
            n += 1
    return n


def pick(x: Facts, s: Tally, w: Scratch, rng: Any) -> int:
    """Choose fields to take off: those on the same seed, those that could be, or any; how many."""
    n = len(x.acres)
    size = min(n, int(rng.integers(2, MOST_OFF + 1)))
    dice = rng.random()
    if dice < 0.15:
        return pick_any(x, w, rng, size)
    seed = int(rng.integers(0, n))
    most = count_near(x, w, seed)
    for f in range(n):
        w.rank[f] = w.near[f] * (0.3 + rng.random())
    if dice < 0.65:
        fill(w.seen, False)
        mark_mates(x, s, w, seed)
        apart = 0
        for f in range(n):
            if w.seen[apart] or (not w.seen[f] and w.rank[f] > w.rank[apart]):
                apart = f
        mark_mates(x, s, w, apart)
        count = 0
        for f in range(n):
            if w.seen[f]:
                count += 1
                w.rank[f] += most + 1.0
        size = min(n, max(size, min(MOST_OFF, count)))
    w.rank[seed] = inf
    for i in range(size):
        best = largest(w.rank, n)
        w.chosen[i] = best
        w.rank[best] = -1.0
    return size


def sort_by_size(x: Facts, w: Scratch, rng: Any, n: int) -> None:
    """Bring the chosen fields into about the order of their acres, the largest first."""
    for i in range(n):
        w.rank[i] = x.acres[w.chosen[i]] * (0.5 + rng.random())
    for i in range(1, n):
        j = i
        while j > 0 and w.rank[j] > w.rank[j - 1]:
            rank, field = w.rank[j], w.chosen[j]
            w.rank[j], w.chosen[j] = w.rank[j - 1], w.chosen[j - 1]
            w.rank[j - 1], w.chosen[j - 1] = rank, field
            j -= 1


def touch(x: Facts, s: Tally, w: Scratch, field: int) -> None:
    """Mark the lots of a field."""
    for i in range(s.pieces[field]):
        w.touched[x.lot[x.pool[s.choice[field, i]]]] = True


def lift(x: Facts, s: Tally, c: Prices, w: Scratch, field: int, i: int) -> None:
    """Take a field off as the i-th of this move, keeping in scratch what it had."""
    w.chosen[i] = field
    copy(s.choice[field], w.choice[i])
    copy(s.piece[field], w.piece[i])
    w.pieces[i] = s.pieces[field]
    touch(x, s, w, field)
    take(x, s, c, field)


def ruin_and_recreate(x: Facts, s: Tally, c: Prices, w: Scratch, rng: Any) -> int:
    """Take some fields off and place them again; how many. What they had is in scratch."""
    n = pick(x, s, w, rng)
    sort_by_size(x, w, rng, n)
    for i in range(n):
        lift(x, s, c, w, w.chosen[i], i)
    for i in range(n):
        place(x, s, c, w, rng, w.chosen[i], NOISE if rng.random() < 0.5 else 0.0)
    return n


def put_on(x: Facts, s: Tally, c: Prices, field: int, lot: int) -> bool:
    """Plant a field that is off from one lot, if it has enough for all of it."""
    best, least = -1, inf
    for n in range(x.first[field], x.first[field + 1]):
        if x.lot[x.pool[n]] == lot:
            cost = offer(x, s, c, n, x.acres[field])
            if cost < least:
                best, least = n, cost
    if best >= 0:
        put(x, s, c, field, best, x.acres[field])
    return best >= 0


def any_on(x: Facts, s: Tally, rng: Any, lot: int) -> int:
    """Some field that has seed of a lot, or -1."""
    a, b = x.fields_at[lot], x.fields_at[lot + 1]
    start = rng.integers(a, b)
    for i in range(b - a):
        j = start + i
        field = x.fields[j if j < b else j - (b - a)]
        for k in range(s.pieces[field]):
            if x.lot[x.pool[s.choice[field, k]]] == lot:
                return field
    return -1


def ejection_chain(x: Facts, s: Tally, c: Prices, w: Scratch, rng: Any) -> int:
    """Move a field to some other lot, and place elsewhere what is in its way; how many fields."""
    field = rng.integers(0, len(x.acres))
    a, b = x.lots_at[field], x.lots_at[field + 1]
    if b - a < 2:
        return 0
    lot = x.lots[rng.integers(a, b)]
    lift(x, s, c, w, field, 0)
    n = 1
    while not put_on(x, s, c, field, lot) and n <= IN_THE_WAY:
        other = any_on(x, s, rng, lot)
        if other < 0:
            break
        lift(x, s, c, w, other, n)
        n += 1
    noise = NOISE if rng.random() < 0.5 else 0.0
    for i in range(n):
        place(x, s, c, w, rng, w.chosen[i], noise)
    return n


def swap(x: Facts, s: Tally, c: Prices, w: Scratch, rng: Any) -> int:
    """Swap the lots of two fields; how many fields."""
    field = rng.integers(0, len(x.acres))
    if s.pieces[field] == 0:
        return 0
    mine = x.lot[x.pool[s.choice[field, 0]]]
    lot = x.lots[rng.integers(x.lots_at[field], x.lots_at[field + 1])]
    other = any_on(x, s, rng, lot)
    if lot == mine or other < 0 or other == field:
        return 0
    lift(x, s, c, w, field, 0)
    lift(x, s, c, w, other, 1)
    if put_on(x, s, c, field, lot):
        put_on(x, s, c, other, mine)
    for i in range(2):
        place(x, s, c, w, rng, w.chosen[i], 0.0)
    return 2


def move(x: Facts, s: Tally, c: Prices, w: Scratch, rng: Any) -> int:
    """Make a move of some kind; how many fields it has touched, what they had is in scratch."""
    fill(w.touched, False)
    dice = rng.random()
    if dice < CHAINS:
        n = ejection_chain(x, s, c, w, rng)
    elif dice < CHAINS + SWAPS:
        n = swap(x, s, c, w, rng)
    else:
        n = ruin_and_recreate(x, s, c, w, rng)
    for i in range(n):
        touch(x, s, w, w.chosen[i])
    for lot in range(len(x.full)):
        if w.touched[lot]:
            fit_part(x, s, c, lot)
    return n


def keeps_bags(x: Facts, s: Tally, w: Scratch) -> bool:
    """Whether no lot that a move has touched is out of bags."""
    for lot in range(len(x.full)):
        if w.touched[lot] and s.lot_bags[lot] > x.ceiling[lot]:
            return False
    return True


def copy_touched(x: Facts, w: Scratch, a: Tally, b: Tally, n: int) -> None:
    """Copy what a move of that many fields has changed, all but the pieces."""
    for i in range(n):
        b.short[w.chosen[i]] = a.short[w.chosen[i]]
    for lot in range(len(x.full)):
        if w.touched[lot]:
            for p in range(x.pools_at[lot], x.pools_at[lot + 1]):
                b.have[p] = a.have[p]
                b.demand[p] = a.demand[p]
                b.bags[p] = a.bags[p]
            b.lot_bags[lot] = a.lot_bags[lot]
            b.lot_part[lot] = a.lot_part[lot]
            b.part_free[lot] = a.part_free[lot]
    copy(a.running, b.running)
    copy(a.need, b.need)
    copy(a.spent, b.spent)
    copy(a.other, b.other)
    copy(a.rule_acres, b.rule_acres)


def improve(
    x: Facts,
    s: Tally,
    c: Prices,
    w: Scratch,
    rng: Any,
    before: Tally,
    best: Tally,
    lowest: float,
    steps: int,
    temperature: float,
) -> float:
    """Make that many moves; the cheapest plan seen is kept in `best`.

    A plan that is dearer by so much (`temperature`) is accepted about every third time. Returns the
    cost of the cheapest.
    """
    now = price(x, s)
    copy_tally(s, before)
    for _ in range(steps):
        n = move(x, s, c, w, rng)
        after = price(x, s)
        most = now - temperature * log(max(1e-12, rng.random()))
        if after < most and keeps_bags(x, s, w):
            now = after
            copy_touched(x, w, s, before, n)
            if after < lowest - 1e-6:
                lowest = after
                copy_plan(s, best)
        else:
            copy_touched(x, w, before, s, n)
            for i in range(n):
                field = w.chosen[i]
                copy(w.choice[i], s.choice[field])
                copy(w.piece[i], s.piece[field])
                s.pieces[field] = w.pieces[i]
    return lowest
