"""Writing files so that text stays text and a file is written whole or not at all."""

from __future__ import annotations

import csv
import errno
import io
import os
import re
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planner.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from openpyxl import Workbook

CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
"""Characters that XML 1.0 does not allow."""
MOST_TEXT = 32_767
"""Characters that a spreadsheet cell holds."""
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def clean(text: str) -> str:
    r"""Text without the characters that a workbook cannot hold, cut to what a cell holds.

    >>> clean("Long\x07 Eighty")
    'Long Eighty'
    """
    return CONTROL.sub("", text)[:MOST_TEXT]


def put_text(cell: Any, text: str, number_format: str = "@") -> None:
    """Write text into an openpyxl cell so that it can never become a formula."""
    cell.value = clean(text)
    if cell.value:
        cell.data_type = "s"
    cell.number_format = number_format
    cell.quotePrefix = text.startswith(FORMULA_STARTS)


def csv_text(value: str) -> str:
    """Text for a CSV file that no spreadsheet takes for a formula.

    >>> csv_text("=1+1"), csv_text("-3%"), csv_text("Long Eighty")
    ("'=1+1", '-3%', 'Long Eighty')
    """
    value = clean(value)
    if value.startswith("'"):
        return "'" + value  # the reader takes one apostrophe away
    if not value.startswith(FORMULA_STARTS):
        return value
    try:
        float(value.removesuffix("%"))
    except ValueError:
        return "'" + value
    return value


def csv_bytes(rows: Iterable[Sequence[str]]) -> bytes:
    """Rows as UTF-8 CSV with a byte-order mark, so that spreadsheets read it rightly."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for row in rows:
        writer.writerow([csv_text(value) for value in row])
    return out.getvalue().encode("utf-8-sig")


def workbook_bytes(workbook: Workbook) -> bytes:
    """A workbook as it is in a file."""
    from planner.form.saving import saved

    return saved(workbook)


def write_whole(path: Path, content: bytes) -> Path:
    """Write a file in one step: either all of it stands there afterwards or nothing has changed.

    Raises
    ------
    OutputError
        When the folder cannot be made or written to, or the file is open elsewhere.
    """
    path = Path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=".", suffix=".tmp", dir=path.parent)
    except OSError as error:
        raise _not_written(path, error) from error
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        part.chmod(0o666 & ~_umask())
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise _not_written(path, error) from error
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return path


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _not_written(path: Path, error: OSError) -> OutputError:
    reason = error.strerror or type(error).__name__
    remedy = "make room" if error.errno == errno.ENOSPC else "close it if it is open elsewhere,"
    return OutputError(f"{path} could not be written ({reason}); {remedy} or choose another place")
