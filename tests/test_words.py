"""What a grower reads is plain US English: home-made words are refused in every text of ours."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "planner"
UNSEEN = ("optimize", "units", "engine")
"""Rooms whose texts no grower reads: names of groups, spellings of units, errors of workers."""

REFUSED = re.compile(
    r"\b(?:anew|mend(?:s|ed)?|to be had|gone on from|go(?:es)? on from|nought|here stands"
    r"|stands? (?:in|on) |passed over|reckon\w*|the tight one|told|errand|again leaves"
    r"|what lives is|what lives goes|what would do|of the random choices|missing to the level"
    r"|not proven that fewer|(?<!how )so many(?! that))\b",
    re.IGNORECASE,
)
"""Words that a grower would not say, mostly German ones in English letters."""


@cache
def seen(path: Path) -> list[tuple[int, str]]:
    """Texts of a file that are no docstrings, each with its line; all of a template."""
    return list(_seen(path))


def _seen(path: Path) -> Iterator[tuple[int, str]]:
    if path.suffix != ".py":
        yield from enumerate(path.read_text("utf-8").split("\n"), 1)
        return
    tree, told = ast.parse(path.read_text("utf-8")), set()
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        for line in body if isinstance(body, list) else []:
            if isinstance(line, ast.Expr) and isinstance(line.value, ast.Constant):
                told.add(id(line.value))
    for node in ast.walk(tree):
        text = isinstance(node, ast.Constant) and isinstance(node.value, str)
        if text and id(node) not in told and " " in node.value:
            yield node.lineno, node.value


FILES = [
    path
    for path in sorted(PACKAGE.rglob("*.py"))
    if path.relative_to(PACKAGE).parts[0] not in UNSEEN
]
TEMPLATES = sorted((PACKAGE / "page" / "templates").iterdir())
SHOWN = [*FILES, *TEMPLATES]


@pytest.mark.parametrize("path", SHOWN, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_texts_are_in_words_that_a_grower_would_say(path: Path) -> None:
    found = [f"{line}: {text}" for line, text in seen(path) if REFUSED.search(text)]
    assert not found


@pytest.mark.parametrize(
    "text",
    [
        "Sheet 'X' is not known, passed over.",
        "type it anew without character U+200B",
        "Stopping: the best plan so far is kept. Ctrl-C again leaves.",
        "What would do, the order kept: 2 more days.",
        "Of the random choices.",
        "What it means stands on Warnings.",
    ],
)
def test_home_made_words_are_found(text: str) -> None:
    """Else the test above could not fail."""
    assert REFUSED.search(text)


APART = re.compile(r"[\d_] %(?![-\w(}])|%[.\d]*f %%|\\ %")
"""A percent sign set off by a space: written with none in the United States (common practice)."""


def set_off(path: Path) -> Iterator[str]:
    """Texts of a file in which a space is put before a percent sign."""
    if path.suffix != ".py":
        yield from APART.findall(path.read_text("utf-8"))
        return
    yield from (text for _, text in seen(path) if APART.search(text))
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        for part, after in pairwise(getattr(node, "values", ())):
            said = getattr(after, "value", "")
            if isinstance(part, ast.FormattedValue) and str(said).startswith(" %"):
                yield str(said)


TOP = PACKAGE.parent


@pytest.mark.parametrize(
    "path",
    [*SHOWN, TOP / "README.md", TOP / "data" / "INPUT.md"],
    ids=lambda p: p.name,
)
def test_percent_is_written_without_a_space_before_its_sign(path: Path) -> None:
    assert list(set_off(path)) == []


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.py", 'x = f"within {gap * 100:.2f} %"'),
        ("a.py", "x = 'above 0 % and up'"),
        ("a.py", r"x = '0.0\\ %'"),
        ("a.html", "{{ '%.2f %%'|format(x) }}"),
        ("a.md", "by more than 0.01 % (see below)"),
    ],
)
def test_a_space_before_a_percent_sign_is_found(name: str, text: str, tmp_path: Path) -> None:
    """Else the test above could not fail."""
    path = tmp_path / name
    path.write_text(text, "utf-8")
    assert list(set_off(path))


ONE_NAME = re.compile(
    r"Total cost|Cost in all|that the plan compares|How sure|Proven gap|\bGap (?:of|without)\b"
    r"|May be this far|Best cost|[Bb]est possible"
)
"""Other names of what is called Total compared and How near the cheapest."""


@pytest.mark.parametrize("path", SHOWN, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_the_total_and_how_near_the_cheapest_a_plan_is_have_one_name_each(path: Path) -> None:
    assert [said for _, said in seen(path) if ONE_NAME.search(said)] == []
