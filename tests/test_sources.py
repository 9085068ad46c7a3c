"""Every source can be followed by a reader: named where it is used, listed in data/SOURCES.md."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SELF = Path(__file__).resolve()
PAGE = (ROOT / "data" / "SOURCES.md").read_text("utf-8")
TEXTS = {".py", ".md", ".csv", ".txt", ".toml", ".json"}

REFUSED = {
    "a paper that readers do not have": [
        r"\b(?:reference|practice) rows?\b",
        r"\brows? \d+ of the (?:published|reference)",
        r"\b(?:AGRONOMY|TRADE|SHOP|RISK|SCALE|CONTRACT|PITFALLS|STYLE|ARCHITECTURE)\.md\b",
        r"\bshared/(?:reference|cases)\b",
        r"(?<![a-z])the[ _]contract(?![a-z])",
        r"\bcontract's\b",
        r"\bcontract \d",
    ],
    "how the work went": [
        r"(?<![a-z])(?:was|were|had been|as)[ _]agreed(?![a-z])(?! (?:with|by))",
        r"(?<![a-z])the[ _]agreed[ _]ones",
        r"\bcheck values\b",
        r"\brecalled\b",
        r"\bcopy (?:ended|stopped)\b",
        r"\b(?:answer|rule|figure|value|data)s? read\b",
        r"\blb/ac read\b",
        r"\bissues? #?\d+",
        r"(?<![\w.])/(?:work|tmp/team)/",
    ],
}
"""Words that mean nothing to a reader of the repository, by why."""

CITED = [
    r"\b\d+ (?:CFR|U\.S\.C\.) \d+(?:\.\d+[a-z]?)?",
    r"\bCPN-\d+",
    r"\bRFC \d+",
    r"\bECMA-\d+",
    r"\bIEC \d+-\d+-\d+",
    r"\bWCAG \d\.\d",
    r"\bNIST [A-Z]\w+ \d+",
    r"\b[A-Z]\w+ Code \d[\d.-]*\d",
    r"\b(?:COMAR|RCW) [\d.]*\d",
    r"\bproject \d{4,}",
    r"\b[A-Z][a-z]+ (?:& (?!Sons)[A-Z][a-z]+|et al\.)",
]
"""How laws, standards, bulletins and papers are cited."""


def files(*places: str) -> list[Path]:
    """Texts of the repository in these folders or files, this one aside."""
    found = [f for p in places for f in ([ROOT / p] if (ROOT / p).is_file() else _below(ROOT / p))]
    return [f for f in found if f.suffix in TEXTS and f.resolve() != SELF]


def _below(folder: Path) -> list[Path]:
    return [f for f in sorted(folder.rglob("*")) if f.is_file() and "__pycache__" not in f.parts]


def refused(text: str) -> list[str]:
    """Each line of a text that holds a refused word, with the reason."""
    return [
        f"{number}: {why}: {line.strip()}"
        for number, line in enumerate(text.split("\n"), 1)
        for why, patterns in REFUSED.items()
        if any(re.search(pattern, line, re.IGNORECASE) for pattern in patterns)
    ]


def unbroken(code: str) -> str:
    """Code with the sentences of its comments and texts put together again."""
    joined = re.sub(r"\n\s*#?", " ", code)
    return " ".join(re.sub(r'" +f?"', "", joined).split())


def citations(text: str) -> set[str]:
    """Laws, standards, bulletins and papers that a text names."""
    return {" ".join(m[0].split()) for p in CITED for m in re.finditer(p, text)}


def rows() -> list[tuple[list[str], list[str]]]:
    """What the second table of the page calls each source, and the files that use it."""
    table = PAGE.split("## Sources of checks")[1].split("\n## ")[0]
    cells = [line.split(" | ") for line in table.split("\n") if line.startswith("| ")][1:]
    return [(re.findall(r"\*\*(.+?)\*\*", c[0]), re.findall(r"`(.+?)`", c[-1])) for c in cells]


@pytest.mark.parametrize(
    "line",
    [
        "derived (reference row 9)",
        "trade practice row 95",
        "row 101 of the published check values",
        "the contract's example",
        "Contract 2.4: units x rate",
        "def test_keys_are_those_of_the_contract():",
        "what was agreed",
        "def test_columns_hold_the_agreed_ones():",
        "solved when the check values were gathered",
        "answer read, data recalled",
        "the copy ended before the bag count",
        "see SHOP.md",
        "as issue 18 asks",
        "/work/shared/cases",
    ],
)
def test_words_of_the_workshop_are_found(line: str) -> None:
    assert refused(line)


@pytest.mark.parametrize(
    "line",
    [
        "brute force agreed with the optimizer",
        '"contract": 1,',
        "Alpha (Products, row 2) is past its date",
        "the copy of the old plan",
        "CSV folders read as text",
    ],
)
def test_other_words_are_left_alone(line: str) -> None:
    assert not refused(line)


@pytest.mark.slow
def test_nothing_refers_to_papers_that_readers_do_not_have() -> None:
    places = files("tests", "planner", "data", "reports", "README.md", "DEVELOPERS.md")
    assert len(places) > 200
    found = [
        f"{file.relative_to(ROOT)}:{line}"
        for file in places
        for line in refused(file.read_text("utf-8", errors="replace"))
    ]
    assert not found, "\n".join(found)


def test_every_source_cited_is_listed() -> None:
    missing = {
        f"{file.relative_to(ROOT)}: {cited}"
        for file in files("tests", "planner")
        if file.suffix == ".py"
        for cited in citations(unbroken(file.read_text("utf-8")))
        if cited not in PAGE
    }
    assert not missing, "\n".join(sorted(missing))


def test_citations_are_recognized() -> None:
    text = "7 CFR 201.31a; CPN-5009; NIST Handbook 44; Snyder & Shen; project 53199; Kandel et al."
    assert citations(text) == set(text.split("; "))


@pytest.mark.parametrize(("names", "used"), rows(), ids=[" ".join(r[0]) for r in rows()])
def test_a_listed_source_is_named_where_it_is_used(names: list[str], used: list[str]) -> None:
    assert names
    assert used
    for name in used:
        text = unbroken((ROOT / name).read_text("utf-8"))
        assert any(n in text for n in names), f"{name} does not name {names}"
