"""LibreOffice as an outside judge of workbooks: what it calculates, what it refuses."""

import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import openpyxl
import pytest
from openpyxl.workbook import Workbook

SOFFICE = shutil.which("soffice") or shutil.which("libreoffice")
PDFTOTEXT = shutil.which("pdftotext")
WORD = re.compile(r'xMax="([0-9.]+)"[^>]*>([^<]+)</word>')
MISSING = "LibreOffice or poppler is not installed"
"""Why a test is skipped; `tests/conftest.py` says so at the end."""
needs_drawing = pytest.mark.skipif(SOFFICE is None or PDFTOTEXT is None, reason=MISSING)
needs_office = pytest.mark.skipif(SOFFICE is None, reason=MISSING)


def _office(path: Path) -> list[str]:
    """Start of a command, with a profile of its own beside the file."""
    return [
        str(SOFFICE),
        f"-env:UserInstallation={(path.parent / 'office').as_uri()}",
        "--headless",
    ]


def recalculated(path: Path) -> Workbook:
    """Workbook as LibreOffice calculates and saves it, with values in place of formulas."""
    return all_recalculated([path])[0]


def all_recalculated(paths: Sequence[Path]) -> list[Workbook]:
    """Workbooks of one folder as `recalculated`, by one start of LibreOffice."""
    out = paths[0].parent / "recalculated"
    kind = "xlsx:Calc MS Excel 2007 XML"
    command = [*_office(paths[0]), "--convert-to", kind, "--outdir", str(out), *map(str, paths)]
    subprocess.run(command, check=True, capture_output=True, timeout=600)
    return [openpyxl.load_workbook(out / path.name, data_only=True) for path in paths]


def errors(book: Workbook) -> list[str]:
    """Addresses of cells that hold an error."""
    return [
        f"{sheet.title}!{cell.coordinate} {cell.value}"
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "e"
    ]


def drawn_words(path: Path) -> list[tuple[str, float]]:
    """Words of a workbook as LibreOffice prints it, and where each ends, points from the left."""
    pdf = path.parent / f"{path.stem}.pdf"
    command = [*_office(path), "--convert-to", "pdf", "--outdir", str(path.parent), str(path)]
    subprocess.run(command, check=True, capture_output=True, timeout=600)
    command = [str(PDFTOTEXT), "-bbox", str(pdf), "-"]
    done = subprocess.run(command, check=True, capture_output=True, timeout=60)
    return [(word, float(end)) for end, word in WORD.findall(done.stdout.decode())]


MODULE = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE script:module PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "module.dtd">
<script:module xmlns:script="http://openoffice.org/2000/script" script:name="Module1"
 script:language="StarBasic">
Sub Main
  Dim hidden(0) As New com.sun.star.beans.PropertyValue
  hidden(0).Name = "Hidden"
  hidden(0).Value = True
  book = StarDesktop.loadComponentFromURL("{source}", "_blank", 0, hidden())
{body}
  book.calculateAll()
  Dim kind(0) As New com.sun.star.beans.PropertyValue
  kind(0).Name = "FilterName"
  kind(0).Value = "Calc MS Excel 2007 XML"
  book.storeToURL("{target}", kind())
  book.close(True)
End Sub
</script:module>"""


def worked_on(path: Path, body: str) -> Workbook:
    """Workbook after LibreOffice has done to it what a Basic macro says; `book` is the document."""
    recalculated(path)  # makes the profile, which replaces macros that were there before it
    target = path.parent / "worked" / path.name
    target.parent.mkdir()
    module = MODULE.format(source=path.as_uri(), target=target.as_uri(), body=body)
    basic = path.parent / "office" / "user" / "basic" / "Standard"
    (basic / "Module1.xba").write_text(module, "utf-8")
    command = [*_office(path), "--norestore", "macro:///Standard.Module1.Main"]
    subprocess.run(command, check=True, capture_output=True, timeout=600)
    return openpyxl.load_workbook(target, data_only=True)
