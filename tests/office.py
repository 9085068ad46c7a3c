"""LibreOffice as an outside judge of workbooks: what it calculates, what it refuses."""

import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest
from openpyxl.workbook import Workbook

SOFFICE = shutil.which("soffice")
needs_office = pytest.mark.skipif(SOFFICE is None, reason="LibreOffice is not installed")


def recalculated(path: Path) -> Workbook:
    """Workbook as LibreOffice calculates and saves it, with values in place of formulas."""
    out = path.parent / "recalculated"
    command = [
        str(SOFFICE),
        f"-env:UserInstallation=file://{path.parent}/office",
        "--headless",
        "--convert-to",
        "xlsx:Calc MS Excel 2007 XML",
        "--outdir",
        str(out),
        str(path),
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    return openpyxl.load_workbook(out / path.name, data_only=True)


def errors(book: Workbook) -> list[str]:
    """Addresses of cells that hold an error."""
    return [
        f"{sheet.title}!{cell.coordinate} {cell.value}"
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "e"
    ]
