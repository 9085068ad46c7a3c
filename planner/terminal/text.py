"""Text that is safe to print, and plain tables of it."""

from __future__ import annotations

import os
import sys
import textwrap
import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from typing import TextIO

    Say = Callable[[Sequence[str]], None]
    """Prints lines."""

LINE = 100
"""Columns of running text, at the most."""
NARROW = 40
"""Columns that every terminal is taken to have."""
UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
"""Unicode categories that a terminal obeys or hides instead of showing."""


def clean(text: str) -> str:
    r"""Text without anything that could steer a terminal or turn the reading direction.

    >>> clean("Home\x1b[31m 80\u202e")
    'Home?[31m 80?'
    """
    return "".join("?" if unicodedata.category(c) in UNSEEN else c for c in text)


def clean_lines(text: str) -> str:
    r"""`clean`, line by line.

    >>> clean_lines("a\tb\nc")
    'a?b\nc'
    """
    return "\n".join(clean(line) for line in text.split("\n"))


def width(text: str) -> int:
    """Columns that a text takes on a terminal.

    >>> width("Home"), width("東の畑")
    (4, 6)
    """
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def shortened(text: str, most: int) -> str:
    """A text cut to at most that many columns.

    >>> shortened("north home.xlsx", 20), shortened("north home.xlsx", 10)
    ('north home.xlsx', 'north h...')
    """
    text = clean(text)
    if width(text) <= most:
        return text
    while width(text) > most - 3:
        text = text[:-1]
    return f"{text}..."


def table(headers: Sequence[str], rows: Sequence[Sequence[str]], left: int = 1) -> list[str]:
    r"""Lines of a table: the first `left` columns flush left, the rest flush right.

    >>> print(*table(["Product", "Count"], [["Larkspur", "2"]]), sep="\n")
      Product   Count
      Larkspur      2
    """
    cells = [[clean(cell) for cell in row] for row in (headers, *rows)]
    widths = [max(width(row[i]) for row in cells) for i in range(len(headers))]
    lines = []
    for row in cells:
        padded = []
        for i, cell in enumerate(row):
            space = " " * (widths[i] - width(cell))
            padded.append(cell + space if i < left else space + cell)
        lines.append(("  " + "  ".join(padded)).rstrip())
    return lines


def columns(stream: TextIO, most: int = LINE) -> int:
    """Columns that a line may take on a stream: its terminal's but one, or the most."""
    try:
        own = os.get_terminal_size(stream.fileno()).columns - 1
    except (OSError, ValueError):  # no terminal, or closed
        return most
    return max(NARROW, min(most, own)) if own > 0 else most


def paragraph(text: str, indent: int = 2) -> list[str]:
    """A text cut into lines, the first indented, the others two columns deeper.

    >>> paragraph("Test it again.", 2)
    ['  Test it again.']
    """
    first = " " * indent
    return textwrap.wrap(
        clean(text), columns(sys.stdout), initial_indent=first, subsequent_indent=first + "  "
    ) or [first]


def written_lines(paths: Iterable[object]) -> list[str]:
    """The files that were written, and those kept of older ones."""
    from planner.report.files import was_kept

    return [
        f"{'Kept, with what was typed into it' if was_kept(str(path)) else 'Written'}: "
        f"{clean(str(path))}"
        for path in paths
    ]
