"""The moves of annealing as machine code: the only room that knows Numba.

Compiling takes some 12 s, once an installation: Numba keeps the result beside Python's own byte
code, where it may. Functions in machine code take the tuples of
`planner.optimize.annealing.moves` as one pointer each (`Struct`): handed over array by array they
were ten times slower.
"""

from __future__ import annotations

from functools import cache, partial
from types import FunctionType, SimpleNamespace
from typing import TYPE_CHECKING, Any

from numba import njit, types
from numba.experimental import structref

from planner.optimize.annealing import moves

if TYPE_CHECKING:
    from collections.abc import Callable


CALLED = ("improve", "make_facts", "make_prices", "make_tally", "make_scratch")
"""What is called from Python; the others need no entry from there."""


class _Type(types.StructRef):  # type: ignore[misc]
    """What a compiled function knows of a tuple."""

    def preprocess_fields(self, fields: Any) -> Any:
        return tuple((name, types.unliteral(kind)) for name, kind in fields)


@structref.register
class FactsType(_Type):
    """Of `Facts`."""


@structref.register
class PricesType(_Type):
    """Of `Prices`."""


@structref.register
class TallyType(_Type):
    """Of `Tally`."""


@structref.register
class ScratchType(_Type):
    """Of `Scratch`."""


class Facts(structref.StructRefProxy):  # type: ignore[misc]
    """A pointer to `moves.Facts`."""


class Prices(structref.StructRefProxy):  # type: ignore[misc]
    """A pointer to `moves.Prices`."""


class Tally(structref.StructRefProxy):  # type: ignore[misc]
    """A pointer to `moves.Tally`."""


class Scratch(structref.StructRefProxy):  # type: ignore[misc]
    """A pointer to `moves.Scratch`."""


structref.define_proxy(Facts, FactsType, moves.Facts._fields)
structref.define_proxy(Prices, PricesType, moves.Prices._fields)
structref.define_proxy(Tally, TallyType, moves.Tally._fields)
structref.define_proxy(Scratch, ScratchType, moves.Scratch._fields)


def _machine(function: Callable[..., Any]) -> Any:
    """A function that is compiled when first called; kept on disk where that can be."""
    make = partial(
        njit,
        nogil=True,
        error_model="numpy",
        no_cpython_wrapper=function.__name__ not in CALLED,
        no_cfunc_wrapper=True,
    )
    try:
        return make(cache=True)(function)
    except RuntimeError:  # nowhere to keep it
        return make()(function)


@cache
def compiled() -> SimpleNamespace:
    """The functions of `moves`, which take what `pointer` makes of its tuples."""
    structs = {c.__name__: c for c in (Facts, Prices, Tally, Scratch)}
    space = {**vars(moves), **structs}
    mine = [f for f in space.values() if isinstance(f, FunctionType)]
    for f in mine:
        space[f.__name__] = _machine(FunctionType(f.__code__, space, f.__name__))
    return SimpleNamespace(**{f.__name__: space[f.__name__] for f in mine})


def pointer(arrays: Any) -> Any:
    """A tuple of `moves` for compiled functions; both work on the same memory."""
    run = compiled()
    make = {
        moves.Facts: run.make_facts,
        moves.Prices: run.make_prices,
        moves.Tally: run.make_tally,
        moves.Scratch: run.make_scratch,
    }
    return make[type(arrays)](*arrays)
