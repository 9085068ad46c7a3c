"""Every error that wholedrum raises on purpose, and the faults found in an input.

PlannerError
    InputError      the input cannot be planned; holds every fault (exit 3)
    NoPlanError     no plan in the time given, or the solver failed (exit 5)
    OutputError     a plan was made but could not be written (exit 6)
    EngineError     the processes or the cluster that were to do the work are not there (exit 7)
    AuditError      the plan breaks a rule: a bug of ours (exit 70)
    Interrupted     stopped by the user before there was any plan (exit 130)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:
    from collections.abc import Sequence


ALIKE = 2
"""Faults like the first of their kind from which they are reported in one line with it."""
MOST_ROWS = 12
"""Rows of such faults that are named."""
NOTHING_PLANNED = "no plan was made"
"""What becomes of a run whose input has faults, unless it was to do something else."""


class PlannerError(Exception):
    """Anything that ends a run in a sentence and an exit code."""

    exit_code: ClassVar[int] = 1


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing in the input that cannot be planned with, and how to fix it.

    Sorts by sheet, then row, then column.
    """

    sheet: str
    """Sheet or file as the user knows it; empty where the whole input is meant."""
    row: int = 0
    """Row as the spreadsheet counts it, from 1; 0 where the whole sheet is meant."""
    column: str = ""
    """Header as the user wrote it; empty where the whole row is meant."""
    seen: str = ""
    """What was typed in the cell; of a row, sheet or file, what was found."""
    expected: str = ""
    """What was expected."""
    remedy: str = ""
    """The nearest thing that would do."""
    cell: str = ""
    """Spreadsheet address such as ``D7``, where there is one."""
    scenario: str = ""
    """Scenario of the sheet What if that brings it about; empty where the season itself does."""

    def __str__(self) -> str:
        sheet = f"scenario '{self.scenario}': {self.sheet}" if self.scenario else self.sheet
        row = f"row {self.row}" if self.row else ""
        place = ", ".join(part for part in (sheet, row, self.column) if part)
        parts = [place or "input"]
        if self.seen:
            parts.append(f"{'you typed' if self.column else 'found'} '{self.seen}'")
        if self.expected:
            parts.append(f"expected {self.expected}")
        if self.remedy:
            parts.append(self.remedy)
        return f"{parts[0]}: " + "; ".join(parts[1:])


class InputError(PlannerError):
    """The input cannot be planned; `faults` holds every fault, not only the first.

    Sheets stay in the order in which they first come; faults of a sheet are sorted by row.
    """

    exit_code = 3

    def __init__(
        self, source: str, faults: Sequence[Fault], instead: str = NOTHING_PLANNED
    ) -> None:
        super().__init__(source, tuple(faults), instead)  # kept in args, so the error pickles
        self.source, self.instead = source, instead
        place = {name: n for n, name in enumerate(dict.fromkeys(f.sheet for f in faults))}
        self.faults = tuple(sorted(faults, key=lambda fault: (place[fault.sheet], fault)))

    def __str__(self) -> str:
        n = len(self.faults)
        head = f"{self.source} has {n} fault{'s' if n > 1 else ''}; {self.instead}:"
        return "\n".join([head, *(f"  {line}" for line in _grouped(self.faults))])


def _grouped(faults: Sequence[Fault]) -> list[str]:
    """Faults in words; of those that differ only in row and what was typed, the first in full."""
    groups: dict[tuple[str, ...], list[Fault]] = {}
    for fault in faults:
        key = (fault.scenario, fault.sheet, fault.column, fault.expected, fault.remedy)
        groups.setdefault(key, []).append(fault)
    lines = []
    for first, *more in groups.values():
        rows = [fault.row for fault in more if fault.row]
        if len(more) < ALIKE:
            lines += [str(fault) for fault in (first, *more)]
            continue
        at = f", rows {', '.join(map(str, rows[:MOST_ROWS]))}" if rows else ""
        at += " and further down" if len(rows) > MOST_ROWS else ""
        lines.append(f"{first}; and {len(more)} more like it{at}")
    return lines


class NoPlanError(PlannerError):
    """There is no plan to show: the time ran out first, or the solver failed."""

    exit_code = 5


class OutputError(PlannerError):
    """The plan could not be written; the message says what to do."""

    exit_code = 6


class EngineError(PlannerError):
    """Work could not be spread: Dask is missing, or its cluster can't be reached or was lost."""

    exit_code = 7


class AuditError(PlannerError):
    """The plan breaks a rule or its cost does not add up: a bug of ours, so it is not written."""

    exit_code = 70


class Interrupted(PlannerError):
    """The user stopped the run before there was any plan."""

    exit_code = 130


def bug(error: Exception) -> str:
    """What to say of an error that nobody foresaw.

    >>> bug(KeyError("L-1"))
    "This is a bug in wholedrum (KeyError: 'L-1'). Nothing is lost."
    """
    return f"This is a bug in wholedrum ({type(error).__name__}: {error}). Nothing is lost."
