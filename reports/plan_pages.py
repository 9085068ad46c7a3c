"""Pictures of a plan's printed pages, as LibreOffice prints them.

Run from the top of the project:

    python -m reports.plan_pages                            # the two pictures in README
    python -m reports.plan_pages plan/plan.xlsx a-folder    # the first page of every sheet
    python -m reports.plan_pages plan/plan.xlsx a-folder all

The first plans the demo season anew, in a place of its own, and draws the pages of `README` into
reports/demo. Needs soffice (LibreOffice), pdftotext and pdftoppm (poppler) on the path.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parent.parent
DOTS_PER_INCH = 66
README = {
    "plan.xlsx": {"The plan": "first-page.png"},
    "study.xlsx": {"Pictures": "charts.png"},
}
"""By workbook: heading of a sheet, as its pages have it in their foot, and its picture."""


def readme_pictures(folder: Path) -> list[Path]:
    """Plan the demo by README's command and draw the pages that README shows."""
    with tempfile.TemporaryDirectory() as place:
        demo = ROOT / "data" / "demo.xlsx"
        run(sys.executable, "-m", "planner", "plan", demo, "--out", place, "--quiet")
        for workbook, pictures in README.items():
            with printed(Path(place) / workbook) as pdf:
                for heading, number in first_pages(feet(pdf), tuple(pictures)).items():
                    draw(pdf, number, folder / pictures[heading])
    return [folder / name for pictures in README.values() for name in pictures.values()]


def pages(workbook: Path, folder: Path, *, every: bool) -> list[Path]:
    """Print a workbook to pictures; older pictures of the folder go."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("page-*.png"):
        old.unlink()
    with printed(workbook) as pdf:
        of_page = feet(pdf)
        for number, foot in enumerate(of_page, 1):
            if every or number == 1 or foot != of_page[number - 2]:
                draw(pdf, number, folder / f"page-{number:02}.png")
    return sorted(folder.glob("page-*.png"))


def first_pages(feet: list[list[str]], headings: tuple[str, ...]) -> dict[str, int]:
    """Number of the first page of each sheet, counted from 1.

    Raises
    ------
    SystemExit
        When no page has such a heading in its foot.
    """
    found = {}
    for heading in headings:
        numbers = [number for number, foot in enumerate(feet, 1) if heading in foot]
        if not numbers:
            there = sorted({foot[1] for foot in feet if len(foot) > 1})
            sys.exit(f"no page of a sheet {heading!r}; there are {', '.join(there)}")
        found[heading] = numbers[0]
    return found


@contextmanager
def printed(workbook: Path) -> Iterator[Path]:
    """The workbook as a PDF, which goes when it is no longer needed."""
    with tempfile.TemporaryDirectory() as place:
        profile = f"-env:UserInstallation={(Path(place) / 'profile').as_uri()}"
        run("soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", place, workbook)
        yield Path(place) / f"{workbook.stem}.pdf"


def feet(pdf: Path) -> list[list[str]]:
    """Foot of every page in its parts, without the page's number: the same all over a sheet."""
    return [_foot(text) for text in run("pdftotext", "-layout", pdf, "-").split("\f")[:-1]]


def _foot(text: str) -> list[str]:
    lines = [line for line in text.splitlines() if line.strip()]
    return re.split(r"\s{2,}", re.sub(r"page \d+.*", "", lines[-1]).strip()) if lines else []


def draw(pdf: Path, number: int, picture: Path) -> None:
    """One page as a picture."""
    picture.parent.mkdir(parents=True, exist_ok=True)
    only = ("-f", number, "-l", number, "-singlefile")
    run("pdftoppm", "-r", DOTS_PER_INCH, "-png", *only, pdf, picture.with_suffix(""))


def run(tool: str, *arguments: object) -> str:
    """What a program prints."""
    path = shutil.which(tool)
    if path is None:
        sys.exit(f"{tool} is not installed")
    command = [path, *(str(a) for a in arguments)]
    done = subprocess.run(command, check=True, capture_output=True, timeout=300)
    return done.stdout.decode("utf-8", "replace")


def main() -> None:
    """Draw what was asked for."""
    arguments = sys.argv[1:]
    if not arguments:
        drawn = readme_pictures(ROOT / "reports" / "demo")
    elif len(arguments) == 2 or arguments[2:] == ["all"]:
        drawn = pages(Path(arguments[0]), Path(arguments[1]), every=len(arguments) == 3)
    else:
        sys.exit(__doc__)
    print(*drawn, sep="\n")


if __name__ == "__main__":
    main()
