"""Pictures of a workbook's printed pages, as LibreOffice prints them.

Run from the top of the project:

    python -m reports.plan_pages reports/demo/plan.xlsx reports/demo/pages

Needs soffice (LibreOffice) and pdftoppm (poppler) on the path.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

DOTS_PER_INCH = 72


def pages(workbook: Path, folder: Path) -> list[Path]:
    """Print a workbook to pictures; older pictures of the folder go."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("page-*.png"):
        old.unlink()
    with tempfile.TemporaryDirectory() as place:
        profile = f"-env:UserInstallation={(Path(place) / 'profile').as_uri()}"
        command = [_tool("soffice"), profile, "--headless", "--convert-to", "pdf"]
        _run([*command, "--outdir", place, str(workbook)])
        pdf = Path(place) / f"{workbook.stem}.pdf"
        _run([_tool("pdftoppm"), "-r", str(DOTS_PER_INCH), "-png", str(pdf), f"{folder}/page"])
    return sorted(folder.glob("page-*.png"))


def _tool(name: str) -> str:
    path = shutil.which(name)
    if path is None:
        sys.exit(f"{name} is not installed")
    return path


def _run(command: list[str]) -> None:
    subprocess.run(command, check=True, capture_output=True, timeout=300)


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    for picture in pages(Path(sys.argv[1]), Path(sys.argv[2])):
        print(picture)
