"""A part of a program solved, everything else fixed; and columns minimized one after the other."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from planner.optimize.mip.highs import Limits, Watch, knowing, reduced, solve

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from planner.optimize.mip.highs import Answer, Bools, Floats, Matrix, Solver


def solve_part(
    matrix: Matrix,
    free: Bools,
    x: Floats,
    limits: Limits | None = None,
    *,
    start: bool = False,
    known: bool = False,
    watch: Watch | None = None,
    solver: Solver = solve,
) -> tuple[Floats | None, Answer]:
    """Solve for the columns that are free, every other one fixed at its value in `x`.

    Parameters
    ----------
    start
        Whether the values in `x` of what is free are a solution to start from.
    known
        Whether they are one that the solver is given by callback instead.

    Returns
    -------
    The solution in all columns, None where there is none, and what the solver answered.
    """
    part, columns = reduced(matrix, free, x)
    if known:
        watch = replace(watch or Watch(), better=knowing(part, x[columns]))
    answer = solver(part, limits or Limits(), start=x[columns] if start else None, watch=watch)
    if answer.x is None:
        return None, answer
    y = x.copy()
    y[columns] = answer.x
    return y, answer


def aimed(matrix: Matrix, column: int) -> Matrix:
    """The program with one column as its cost."""
    cost = np.zeros(matrix.n_columns)
    cost[column] = 1.0
    return replace(matrix, cost=cost, offset=0.0)


def capped_at(matrix: Matrix, column: int, most: float) -> Matrix:
    """The program with no more of a column than that."""
    upper = matrix.upper.copy()
    upper[column] = min(upper[column], most)
    return replace(matrix, upper=upper)


def minimize_in_turn(
    matrix: Matrix,
    columns: Sequence[int],
    solve_one: Callable[[Matrix, int], Answer | None],
    cap: Callable[[int, Answer | None], float],
) -> tuple[list[Answer | None], Matrix]:
    """Minimize columns lexicographically: each with those before it held at what was found.

    Parameters
    ----------
    solve_one
        Solves the program aimed at the column of a place; None where there is no need to.
    cap
        How much of that column there may be from then on, by place and answer.

    Returns
    -------
    The answers, fewer than columns where one has no solution; and the program with the columns
    of the answers capped.
    """
    answers: list[Answer | None] = []
    for place, column in enumerate(columns):
        answer = solve_one(aimed(matrix, column), place)
        if answer is not None and answer.x is None:
            break
        answers.append(answer)
        matrix = capped_at(matrix, column, cap(place, answer))
    return answers, matrix
