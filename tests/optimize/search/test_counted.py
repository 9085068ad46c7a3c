"""Counted effort gives the same plan everywhere: kept plans came from Python 3.11 and 3.13.

`.ci/run` runs this file with both and with the oldest libraries, PuLP 3 and 4 among them.
"""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.counted import KEPT, MADE, decided
from tests.support.quick import few

ROOT = Path(__file__).parents[3]
PLANS = json.loads(KEPT.read_text("utf-8"))


@pytest.mark.parametrize("name", few(MADE))
def test_counted_effort_is_the_same_plan_on_every_machine(name):
    assert decided(name) == PLANS[name]


@pytest.mark.slow
def test_counted_effort_is_the_same_plan_in_every_process():
    """Whatever the order of sets."""
    name = "fuller 3"
    code = "import json; from tests.support.counted import decided; "
    code += f"print(json.dumps(decided({name!r})))"
    seeds = ("1", "2")
    said = [
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in seeds
    ]
    assert [json.loads(text.splitlines()[-1]) for text in said] == [PLANS[name]] * 2
