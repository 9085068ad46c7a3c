"""What is printed fits the terminal that it is read on."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from planner.optimize.options import Progress
from planner.report.measures import Manner
from planner.terminal.progress import ProgressLine
from planner.terminal.text import columns, paragraph

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import TextIO

SENTENCE = "Send a sample by Wednesday: the result must be there before the seed is treated. " * 3


@pytest.fixture
def narrow() -> Iterator[tuple[int, TextIO]]:
    """A terminal of 60 columns: what was printed on it can be read from the first."""
    pty, termios = pytest.importorskip("pty"), pytest.importorskip("termios")
    reading, writing = pty.openpty()
    termios.tcsetwinsize(writing, (24, 60))
    with os.fdopen(writing, "w", encoding="utf-8") as stream:
        yield reading, stream
    os.close(reading)


def test_running_text_is_cut_to_the_terminal(
    narrow: tuple[int, TextIO], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert max(len(line) for line in paragraph(SENTENCE)) > 90
    monkeypatch.setattr(sys, "stdout", narrow[1])
    lines = paragraph(SENTENCE)
    assert 50 < max(len(line) for line in lines) < 60
    assert " ".join(line.strip() for line in lines) == SENTENCE.strip()


def test_a_line_that_is_rewritten_fits_the_terminal(
    narrow: tuple[int, TextIO], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else each rewriting begins a line below, four times a second."""
    reading, stream = narrow
    monkeypatch.setattr(sys, "stderr", stream)
    line = ProgressLine(Manner(), "planning what if: a name", quiet=False)
    line.update(Progress(2.0, 81_883.65, 74_000.0, 161.2))
    line.beat()
    line.close()
    shown = os.read(reading, 10_000).decode().split("\r")
    assert "best $81,883.65" in shown[1]
    assert {len(part) for part in shown} == {0, 59}


def test_what_is_no_terminal_gets_lines_of_one_length() -> None:
    with Path(os.devnull).open("w", encoding="utf-8") as stream:
        assert columns(stream) == 100
    assert columns(stream) == 100
