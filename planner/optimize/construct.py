"""Placing fields on the board, and taking some off to place them better."""

from __future__ import annotations

from math import inf, isfinite, log
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.board import EPS, Piece

if TYPE_CHECKING:
    from collections.abc import Callable

    from planner.optimize.board import Board
    from planner.optimize.solver import Floats

FILLS = 2
"""Choices whose open bags are tried for a part of a field."""


def place(board: Board, field: int, rng: np.random.Generator, noise: float = 0.0) -> None:
    """Plant a field, or the rest of it, at the least cost; what can't be planted stays short."""
    first = board.menus[field].first
    for _ in range(8):
        acres = board.short[field]
        if acres <= EPS or not len(board.menus[field].pool):
            return
        offers = _offers(board, field, acres, rng, noise)
        best = int(np.argmin(offers))
        whole = float(offers[best])
        part = _best_fill(board, field, acres, whole, rng, noise)
        if part is None and not isfinite(whole):
            part = _largest_part(board, field, acres)
            if part is None:
                return
        board.put(field, part or Piece(first + best, acres))
        if part is None:
            return


def _offers(
    board: Board, field: int, acres: float, rng: np.random.Generator, noise: float
) -> Floats:
    offers = board.offers(field, acres)
    if board.pieces[field] or acres < board.split[field] - EPS:
        offers[~board.allowed(field, acres)] = inf
    if noise:
        offers = offers + np.abs(offers) * noise * rng.random(len(offers))
    return offers


def _fill_acres(board: Board, field: int, acres: float) -> Floats:
    """Acres that open bags would cover and that leave no sliver, by choice."""
    slack = np.minimum(np.minimum(board.slack(field), board.rule_room(field)), acres)
    least = float(board.split[field])
    mine = board.shares(field)
    m = board.menus[field]
    held = np.isin(m.share, list(mine))
    rest = acres - slack
    slack = np.where((rest > EPS) & (rest < least) & ~m.twin, acres - least, slack)
    can = board.allowed(field, acres) & ((slack >= least - EPS) | held)
    if len(mine | {-1}) > board.most_shares:
        can &= m.twin
    return np.where(can, slack, 0.0)


def _best_fill(
    board: Board, field: int, acres: float, whole: float, rng: np.random.Generator, noise: float
) -> Piece | None:
    """A part of the field for bags that are open anyway, where that beats planting it whole."""
    if board.most_shares == 1 and not board.menus[field].twin.any():
        return None
    if isfinite(whole) and rng.random() < 0.6:
        return None
    first = board.menus[field].first
    fills = _fill_acres(board, field, acres)
    tried = [t for t in np.argsort(-fills, kind="stable")[:FILLS].tolist() if fills[t] > 1e-3]
    best, best_cost = None, whole
    for t in tried:
        piece = Piece(first + t, float(fills[t]))
        if piece.acres >= acres - EPS:
            continue
        held = list(board.pieces[field])
        board.put(field, piece)
        rest = _offers(board, field, acres - piece.acres, rng, noise)
        cost = float(rest.min()) + float(board.choices.loss[piece.choice]) * piece.acres
        board.take(field)
        for old in held:
            board.put(field, old)
        if cost < best_cost - 1e-6:
            best, best_cost = piece, cost
    return best


def _largest_part(board: Board, field: int, acres: float) -> Piece | None:
    m = board.menus[field]
    mine = board.shares(field)
    most = np.minimum(np.minimum(board.room(field), board.rule_room(field)), acres)
    room = np.where(board.allowed(field, acres), most, 0.0)
    for t in np.argsort(-room, kind="stable")[:5].tolist():
        size = float(room[t])
        sliver = int(m.share[t]) not in mine and size < board.split[field] - EPS
        if size > 1e-6 and not sliver and isfinite(board.offers(field, size)[t]):
            return Piece(m.first + t, size)
    return None


def neighbors(board: Board, rng: np.random.Generator, most: int) -> list[int]:
    """Fields to take off together: those on the same seed, those that could be, or any."""
    n = len(board.pieces)
    size = min(n, int(rng.integers(2, max(3, most + 1))))
    dice = rng.random()
    if dice < 0.15:
        return sorted(int(f) for f in rng.choice(n, size=size, replace=False))
    seed = int(rng.integers(n))
    near = board.near(seed)
    weight = near * (0.3 + rng.random(n))
    if dice < 0.65:
        mates = board.mates(seed)
        apart = weight.copy()
        apart[list(mates)] = -1.0
        mates |= board.mates(int(np.argmax(apart)))
        weight[list(mates)] += near.max() + 1.0
        size = min(n, max(size, min(most, len(mates))))
    weight[seed] = np.inf
    nearest: list[int] = np.argsort(-weight, kind="stable")[:size].tolist()
    return nearest


def improve(
    board: Board,
    rng: np.random.Generator,
    steps: int,
    heat: tuple[float, float],
    more: Callable[[int], float | None],
) -> tuple[float, list[list[Piece]]]:
    """Take fields off and place them again, `steps` times or until `more` says None.

    `more` gets the step and returns how far the search is, from 0 to 1. A dearer board is accepted
    with a chance that falls as the heat falls from first to last. Returns the cheapest seen.
    """
    price = board.price()
    best, kept = price, [list(p) for p in board.pieces]
    for step in range(steps):
        done = more(step)
        if done is None:
            break
        warmth = heat[0] * (heat[1] / heat[0]) ** done
        fields = neighbors(board, rng, 10)
        lots = {int(board.choices.lot[p.choice]) for f in fields for p in board.pieces[f]}
        parts = list(board.lot_part)
        before = {f: board.take(f) for f in fields}
        order = sorted(fields, key=lambda f: -board.acres[f] * (0.5 + rng.random()))
        for f in order:
            place(board, f, rng, 0.02 if rng.random() < 0.5 else 0.0)
        lots |= {int(board.choices.lot[p.choice]) for f in fields for p in board.pieces[f]}
        for lot in sorted(lots):
            board.fit_part(lot)
        after = board.price()
        if after < price - warmth * log(max(1e-12, rng.random())):
            price = after
            if after < best - 1e-6:
                best, kept = after, [list(p) for p in board.pieces]
        else:
            _put_back(board, before, parts)
    return best, kept


def _put_back(board: Board, before: dict[int, list[Piece]], parts: list[int]) -> None:
    for f in before:
        board.take(f)
    for lot, pool in enumerate(parts):
        board.give_part(lot, pool)
    for f, pieces in before.items():
        for piece in pieces:
            board.put(f, piece)


def lay(board: Board, pieces: list[list[Piece]]) -> None:
    """Put a whole plan on an empty board."""
    board.clear()
    for f, mine in enumerate(pieces):
        for piece in mine:
            board.put(f, piece)
    for lot in range(len(board.it.lots)):
        board.fit_part(lot)
