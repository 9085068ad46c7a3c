"""What `pytest --quick` leaves out: tests marked slow, and most of the random examples.

`pytest --rest` runs just that: slow tests, and those marked sampled with half of their examples.
Tests marked long, the slowest, are left out there too, but for `--long`; then all examples are
tried.
"""

import os
from collections.abc import Iterable
from typing import Any

import pytest

VARIABLE = "WHOLEDRUM_EXAMPLES_ONE_IN"
"""Set by `--quick` and `--rest`, for the processes that tests run in."""
ONE_IN, ONE_IN_OF_REST = 16, 2


def examples(count: int) -> int:
    """How many random examples to try."""
    return min(count, max(5, count // int(os.environ.get(VARIABLE, "1"))))


def few(cases: Iterable[Any], one_in: int = ONE_IN, long_from: int | None = None) -> list[Any]:
    """Cases for `parametrize`: all but one in that many are slow, and long from a number on."""

    def marks(n: int) -> list[pytest.MarkDecorator]:
        late = long_from is not None and n >= long_from
        return [pytest.mark.slow, *([pytest.mark.long] if late else [])]

    return [
        case if n % one_in == 0 else pytest.param(case, marks=marks(n))
        for n, case in enumerate(cases)
    ]


def long_after(count: int, cases: Iterable[Any]) -> list[Any]:
    """Cases for `parametrize`: all but the first ones are long; for tests that are slow."""
    return [
        case if n < count else pytest.param(case, marks=pytest.mark.long)
        for n, case in enumerate(cases)
    ]
