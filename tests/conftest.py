"""Seasons that several tests start from, and a word at the end on what was not tested."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings

from tests.support.browser import NO_BROWSER
from tests.support.office import MISSING
from tests.support.quick import ONE_IN, ONE_IN_OF_REST, VARIABLE
from tests.support.work import NO_DASK

if TYPE_CHECKING:
    from pathlib import Path

settings.register_profile(
    "any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any machine")
"""How long a case takes says how busy the machine is, not whether the code is right."""

TINY = {
    "farm.csv": "Setting,Value\nFarm name,Marten Hill\nPlan date,2027-01-15\nSpare seed,3%\n",
    "fields.csv": "Field,Acres,Seeding rate\nHome 80,80,140000\n",
    "seed lots.csv": (
        "Lot,Variety,Maturity,Units on hand,Units per bag,Seeds per lb\nL-1,Heron,1.8,160,40,2800\n"
    ),
    "products.csv": "Product,Kind\nGreen Cap,fungicide\n",
    "containers.csv": (
        "Product,Container,Size,Price\nGreen Cap,jug,1 gal,100\nGreen Cap,keg,2.5 gal,240\n"
    ),
    "recipes.csv": "Recipe,Product,Rate\nBase,Green Cap,4 fl oz/cwt\n",
}
"""One field and one lot, worked by hand.

80 acres at 140,000 seeds/acre and 140,000 seeds a unit with 3 % spare take 82.4 units, so three
bags of 40 are treated, 120 units of 50 lb. At 4 fl oz/cwt they take 240 fl oz: two jugs hold 256
for $200, one keg holds 320 for $240, so the cheapest order is two jugs.
"""


def tiny_folder(place: Path) -> Path:
    """Write the tiny season into a folder of that place."""
    from tests.support.inputs import csv_files

    return csv_files(place / "tiny", TINY)


@pytest.fixture
def tiny(tmp_path: Path) -> Path:
    """A folder with the tiny season."""
    return tiny_folder(tmp_path)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--quick`."""
    parser.addoption(
        "--quick",
        action="store_true",
        help="leave out tests marked slow, and most of the random cases",
    )
    parser.addoption("--rest", action="store_true", help="only what --quick leaves out")
    parser.addoption("--long", action="store_true", help="with --rest: those marked long as well")


def pytest_configure(config: pytest.Config) -> None:
    """Let the modules of tests, in every process, know of the options before they are read."""
    if config.getoption("--quick"):
        os.environ[VARIABLE] = str(ONE_IN)
    elif config.getoption("--rest") and not config.getoption("--long"):
        os.environ[VARIABLE] = str(ONE_IN_OF_REST)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what is slow, or all else."""

    def wanted(item: pytest.Item) -> bool:
        slow = item.get_closest_marker("slow") is not None
        if config.getoption("--quick"):
            return not slow
        if item.get_closest_marker("long") and not config.getoption("--long"):
            return False
        return slow or item.get_closest_marker("sampled") is not None

    if config.getoption("--quick") or config.getoption("--rest"):
        config.hook.pytest_deselected(items=[item for item in items if not wanted(item)])
        items[:] = [item for item in items if wanted(item)]


NOT_TESTED = (
    "Not tested: workbooks as LibreOffice calculates and prints them (skipped tests: {count}, in"
    " {files}). For these, on Debian or Ubuntu: apt-get install libreoffice-calc poppler-utils"
    " fonts-liberation fonts-dejavu-core"
)
"""What `.ci/run` looks for too."""
NOT_BROWSED = (
    "Not tested: the page in a real browser (skipped tests: {count}, in {files}). For these, on"
    " Debian or Ubuntu: apt-get install chromium, and pip install playwright axe-playwright-python"
)
NOT_SPREAD = (
    "Not tested: work in several processes and on a cluster (skipped tests: {count}, in {files})."
    " For these: pip install -e '.[many]'"
)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say what was not tested for want of programs or libraries, and how to get them."""
    wanted = ((MISSING, NOT_TESTED), (NO_BROWSER, NOT_BROWSED), (NO_DASK, NOT_SPREAD))
    for missing, sentence in wanted:
        every = terminalreporter.stats.get("skipped", [])
        skipped = [r for r in every if missing in str(r.longrepr)]
        if skipped:
            files = ", ".join(sorted({r.nodeid.partition("::")[0] for r in skipped}))
            terminalreporter.write_line(sentence.format(count=len(skipped), files=files), red=True)
