"""A blank workbook that the tests of this room start from."""

from pathlib import Path

import pytest

from planner.form.template import write_blank


@pytest.fixture(scope="session")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Read-only: no test writes into it."""
    return write_blank(tmp_path_factory.mktemp("blank") / "season.xlsx")
