"""Pictures of a workbook's printed pages, as LibreOffice prints them: the first of every sheet.

Run from the top of the project:

    python -m reports.plan_pages reports/demo/plan.xlsx reports/demo/pages

Needs soffice (LibreOffice), pdftotext and pdftoppm (poppler) on the path. With a third argument
`all`, every page is drawn.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

DOTS_PER_INCH = 66


def pages(workbook: Path, folder: Path, every: bool) -> list[Path]:
    """Print a workbook to pictures; older pictures of the folder go."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("page-*.png"):
        old.unlink()
    with tempfile.TemporaryDirectory() as place:
        profile = f"-env:UserInstallation={(Path(place) / 'profile').as_uri()}"
        _run("soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", place, workbook)
        pdf = Path(place) / f"{workbook.stem}.pdf"
        feet = [_foot(text) for text in _run("pdftotext", "-layout", pdf, "-").split("\f")[:-1]]
        for number, foot in enumerate(feet, 1):
            if every or number == 1 or foot != feet[number - 2]:
                name = folder / f"page-{number:02}"
                first = ("-f", number, "-l", number)
                _run("pdftoppm", "-r", DOTS_PER_INCH, "-png", "-singlefile", *first, pdf, name)
    return sorted(folder.glob("page-*.png"))


def _foot(text: str) -> str:
    """Foot of a page without its number: the same on all pages of a sheet."""
    lines = [line for line in text.splitlines() if line.strip()]
    return " ".join(re.sub(r"page \d+.*", "", lines[-1]).split()) if lines else ""


def _run(tool: str, *arguments: object) -> str:
    path = shutil.which(tool)
    if path is None:
        sys.exit(f"{tool} is not installed")
    command = [path, *(str(a) for a in arguments)]
    done = subprocess.run(command, check=True, capture_output=True, timeout=300)
    return done.stdout.decode("utf-8", "replace")


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    for picture in pages(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3:] == ["all"]):
        print(picture)
