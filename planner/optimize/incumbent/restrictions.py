"""The exact model with the acres short held at the fewest known, or at those of a solution."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.incumbent.incumbent import Incumbent, RuledOut, short_slack

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.mip.highs import Bools, Floats
    from planner.optimize.model.program import Model


def capped(incumbent: Incumbent) -> Model:
    """The model with the acres short of every priority held at the best known."""
    return narrowed(incumbent).bounded("short_in", short_caps(incumbent))


def narrowed(incumbent: Incumbent) -> Model:
    """The model without what no plan with so few acres short has, where that is known."""
    ruled_out = incumbent.ruled_out
    if ruled_out is None or not is_within(incumbent, ruled_out):
        return incumbent.model
    return shut(incumbent.model, ruled_out.columns)


def narrowed_for_fewer(incumbent: Incumbent) -> Model:
    """The model in which to look for fewer acres short; without what is ruled out, if that holds.

    Only where none but the last priority is short: a plan with fewer of an earlier one may have
    more of a later one, and so what is ruled out for plans short by no more of either.
    """
    return incumbent.model if short_caps(incumbent)[:-1].any() else narrowed(incumbent)


def is_within(incumbent: Incumbent, ruled_out: RuledOut) -> bool:
    """Whether the best plan leaves so few acres short that what is ruled out is so for it."""
    return bool(np.all(short_caps(incumbent) <= ruled_out.short))


def shut(model: Model, columns: Bools) -> Model:
    """The model with some columns held at zero."""
    upper = np.where(columns, 0.0, model.matrix.upper)
    return replace(model, matrix=replace(model.matrix, upper=upper))


def open_shares(model: Model) -> int:
    """How many shares of variety and recipe fields may still have."""
    return int((model.matrix.upper[model.at["share"]] > 0.0).sum())


def short_caps(incumbent: Incumbent) -> Floats:
    """Upper bounds that hold the acres short at the fewest known.

    None at all is held exactly. Anything else gets a little slack: a bound that a solution just
    fits, or a tiny one, has made HiGHS cut off solutions that exist.
    """
    most = incumbent.model.matrix.upper[incumbent.model.at["short_in"]]
    short = np.array(incumbent.short)
    return np.where(short > 1e-9, np.minimum(short + short_slack(len(short)), most), 0.0)


def proven_in(incumbent: Incumbent, model: Model) -> Callable[[float], None]:
    """What to call with a bound that is proven in a model with its shortage held."""
    short = model.matrix.upper[model.at["short_in"]]
    return lambda bound: incumbent.raise_bound(bound, short)


def held_short(model: Model, short: Floats, places: int) -> Floats:
    """Upper bounds that hold the first few priorities at some acres short, others as they are."""
    upper: Floats = model.matrix.upper[model.at["short_in"]].copy()
    slack = np.where(short > 1e-9, short + short_slack(len(short)), 0.0)
    upper[:places] = np.minimum(upper, slack)[:places]
    return upper
