"""Sequences of recipes through a line that stays primed, worked out beforehand.

Which recipes run, and how often each product comes onto the line then: few are worth while,
as running more recipes for no more losses is never worse. To choose among them is far easier for
the solver than to put recipes in order itself.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Collection

    from planner.optimize.model.instance import Instance

START = -1
"""Stands for the empty line before the first recipe."""

Times = tuple[int, ...]
"""How often each product comes onto the line, by place."""


class LineKind(NamedTuple):
    """Recipes that hold the same products among those with a line loss: they run together."""

    products: frozenset[int]
    recipes: tuple[int, ...]


class RunSequence(NamedTuple):
    """Kinds of recipes in an order, and how often that brings each product onto the line."""

    kinds: tuple[int, ...]
    times: tuple[tuple[int, int], ...]
    """Product and number."""


def line_kinds(it: Instance) -> list[LineKind]:
    """Recipes that leave something in the line, by what they leave.

    No order loses less than one in which recipes of a kind run one after the other, as taking one
    out of an order, or putting it beside its like, breaks no stretch.
    """
    lossy = {p.name: i for i, p in enumerate(it.products) if p.line_loss > 0.0}
    kinds: dict[frozenset[int], list[int]] = {}
    for k, recipe in enumerate(it.recipes):
        products = frozenset(lossy[r.product] for r in recipe.rates if r.product in lossy)
        if products:
            kinds.setdefault(products, []).append(k)
    return [LineKind(products, tuple(recipes)) for products, recipes in kinds.items()]


def run_sequences(it: Instance, run: Collection[int]) -> tuple[RunSequence, ...] | None:
    """Sequences worth while of the kinds among some recipes; None where there are too many kinds.

    Every order of any of these recipes loses as much of each product as one of these, or more.
    """
    kinds = line_kinds(it)
    numbers = [n for n, kind in enumerate(kinds) if any(k in run for k in kind.recipes)]
    if len(numbers) > it.line.most_kinds:
        return None
    found = _sequences(tuple(kinds[n].products for n in numbers), it.line.most_labels)
    if found is None:
        return None
    return tuple(RunSequence(tuple(numbers[i] for i in w.kinds), w.times) for w in found)


@lru_cache(maxsize=64)
def _sequences(held: tuple[frozenset[int], ...], most: int) -> tuple[RunSequence, ...] | None:
    """Work the sequences out by dynamic programming over sets of kinds, the last one told apart."""
    products = sorted(frozenset[int]().union(*held)) if held else []
    place = {p: i for i, p in enumerate(products)}
    on = [frozenset(place[p] for p in kind) for kind in held]

    def more(times: Times, last: int, following: int) -> Times:
        new = on[following] - (on[last] if last != START else frozenset())
        return tuple(n + (i in new) for i, n in enumerate(times))

    layer: dict[tuple[int, int], dict[Times, tuple[int, ...]]] = {
        (0, START): {(0,) * len(products): ()}
    }
    every: dict[int, dict[Times, tuple[int, ...]]] = {}
    looked = 0
    for _ in held:
        after: dict[tuple[int, int], dict[Times, tuple[int, ...]]] = {}
        for (done, last), labels in layer.items():
            for j in range(len(held)):
                if done >> j & 1:
                    continue
                kept = after.setdefault((done | 1 << j, j), {})
                for times, path in labels.items():
                    looked += 1
                    _keep(kept, more(times, last, j), (*path, j))
        if looked > most:
            return None
        for (done, _), labels in after.items():
            best = every.setdefault(done, {})
            for times, path in labels.items():
                _keep(best, times, path)
        layer = after
    sequences: list[tuple[int, Times, tuple[int, ...]]] = []
    for done in sorted(every, key=lambda d: (-d.bit_count(), d)):
        for times, path in sorted(every[done].items()):
            if not any(done | other == other and _no_more(t, times) for other, t, _ in sequences):
                sequences.append((done, times, path))
    return tuple(
        RunSequence(path, tuple((p, n) for p, n in zip(products, times, strict=True) if n))
        for _, times, path in sequences
    )


def _no_more(one: Times, other: Times) -> bool:
    return all(a <= b for a, b in zip(one, other, strict=True))


def _keep(kept: dict[Times, tuple[int, ...]], times: Times, path: tuple[int, ...]) -> None:
    """Keep a sequence unless another loses no more of anything."""
    if any(_no_more(t, times) for t in kept):
        return
    for t in [t for t in kept if _no_more(times, t)]:
        del kept[t]
    kept[times] = path
