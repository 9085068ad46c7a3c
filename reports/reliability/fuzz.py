"""Coverage-guided fuzzing of everything that reads what a user gives.

    pip install atheris     # once; it is no dependency of the project
    python -m reports.reliability.fuzz workbook --seconds 480
    python -m reports.reliability.fuzz workbook --again FILE     # one finding, with its traceback

Targets: `workbook` (bytes of a workbook to a season: parts, values and raw bytes are changed),
`csv` (the files of a folder), `text` (numbers, quantities, rates, percents, units), `cell` (any
column of any sheet), `plan` (plan.json). Only the error that a reader documents may come out,
within 5 seconds and 500 MB; numbers that are read must be finite and within their bounds. Findings
are kept, one for each place in the code, and the search goes on. Ends with one line of counts, and
with 1 if anything was found.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import math
import os
import random
import re
import resource
import shutil
import sys
import tempfile
import time
import traceback
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, NoReturn
from xml.sax.saxutils import escape

ROOT = Path(__file__).parents[2]
OURS = str(ROOT / "planner")
MOST_SECONDS = 5.0
MOST_MEGABYTES = 500.0
MOST_BYTES = 400_000
"""Longest input; the workbook of the tests takes about 50 kB unpacked."""
MOST_LETTERS = 2_000
"""Longest text of a cell that is tried; one of 32,767 letters is among the cases of the tests."""
SMALL = ("Farm", "Fields", "Seed lots", "Products", "Containers", "Recipes")
STRANGE = (
    *("", "0", "-0", "-1", "0.5", "50%", "1e308", "-1e308", "1e-320", "1e999", "NaN", "inf"),
    *("1e12", "9" * 400, "1/2", "1,5", "1'000", "1 000", "140k", "1٢", "½", "²", "1_000", "0x10"),
    *("2027-02-30", "0001-01-01", "9999-12-31", "2027/5/1 24:61", "1048577", "16385", "4294967296"),
    *("-2147483649", "XFD1048576", "A0", "ZZZZ9", "true", "n", "s", "e", "d", "str", "b", "#N/A"),
    *("inlineStr", "=1+1", "'", '"', ";", ";;;", "\t", "\r", "\u202e", "\u200b", "\ufeff", "\x07"),
    *("\x0b", "\x85", "\u2028", "&#10;", "&#x110000;", "_x000D_", "x" * 40_000, "A" * 201, "null"),
    *("Heron", "Untreated", "Base", "fl oz/cwt", "gal", "4 mg/seed", "€", "USD", "CHF 5", "[$-F8]"),
    *("[" * 3_000, "{}", "[]", "-1e400", "12" * 3_000, "\ud800", "ß", "İ", "ﬁ", "Ａ"),
)
"""What a value is replaced with, besides what the fuzzer thinks of itself."""

CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
"""What XML cannot hold."""

Mutate = Callable[[bytes], bytes]


@dataclass
class Target:
    """What is fuzzed: inputs to start from, how they are changed, what is done with them."""

    seeds: Callable[[], list[bytes]]
    run: Callable[[bytes], str]
    """Returns how the input ended; raises where it must not."""
    change: Callable[[bytes, random.Random, Mutate], bytes] = lambda data, rng, mutate: mutate(data)


# --- changing inputs ---------------------------------------------------------------------------


def parts_of(data: bytes) -> dict[str, bytes]:
    """Files in a zip; none if it is broken."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            if sum(info.file_size for info in infos) > 4 * MOST_BYTES:
                return {}
            return {info.filename: archive.read(info) for info in infos}
    except Exception:
        return {}


def zipped(parts: dict[str, bytes]) -> bytes:
    """A zip whose files are not packed, so that the fuzzer can learn from them."""
    out = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(out, "w") as archive:
        warnings.simplefilter("ignore")
        for name, data in parts.items():
            archive.writestr(zipfile.ZipInfo(name), data)
    return out.getvalue()


def strange(old: bytes, rng: random.Random, mutate: Mutate) -> bytes:
    return mutate(old) if rng.random() < 0.4 else rng.choice(STRANGE).encode(errors="replace")


def one_piece(data: bytes, pattern: bytes, rng: random.Random) -> tuple[int, int] | None:
    found = [match.span(match.lastindex or 0) for match in re.finditer(pattern, data, re.DOTALL)]
    return rng.choice(found) if found else None


def changed(data: bytes, patterns: tuple[bytes, ...], rng: random.Random, mutate: Mutate) -> bytes:
    """Bytes with one piece replaced, doubled, left out or put elsewhere."""
    span = one_piece(data, rng.choice(patterns), rng)
    if span is None or rng.random() < 0.05:
        return mutate(data)
    start, end = span
    piece = data[start:end]
    kind = rng.random()
    if kind < 0.7:
        return data[:start] + strange(piece, rng, mutate) + data[end:]
    if kind < 0.8:
        return data[:end] + piece + data[end:]
    if kind < 0.9:
        return data[:start] + data[end:]
    other = one_piece(data, rng.choice(patterns), rng) or span
    return data[: other[0]] + piece + data[other[1] :]


XML = (
    rb">([^<>]+)<",
    rb'="([^"]*)"',
    rb"<(\w+)",
    rb"(<c .*?</c>)",
    rb"(<row .*?</row>)",
    rb"<[^>]*>",
)
CELLS = (rb"([^,;\n\"]*)[,;\n]", rb"([^\n]*\n)", rb"([^,;\n]*)[,;\n]")
JSON = (rb"[:\[,]\s*([^\s,:{}\[\]]+)", rb'"([^"]*)"', rb"(\{[^{}]*\})", rb"(\[[^\[\]]*\])")


def change_workbook(data: bytes, rng: random.Random, mutate: Mutate) -> bytes:
    """Mostly texts and numbers of cells, which stay sound XML; else anything."""
    parts = parts_of(data)
    tables = sorted(name for name in parts if name.startswith("xl/worksheets/"))
    tables += ["xl/sharedStrings.xml"] * 4 * ("xl/sharedStrings.xml" in parts)
    if not tables or rng.random() < 0.4:
        return change_parts(XML, 0.1)(data, rng, mutate)
    for _ in range(rng.choice((1, 1, 2, 4))):
        name = rng.choice(tables)
        span = one_piece(parts[name], rb"<(?:v|t)>([^<]*)</", rng)
        if span is not None:
            start, end = span
            text = strange(parts[name][start:end], rng, mutate).decode(errors="replace")
            kept = escape(CONTROL.sub("", text)).encode(errors="replace")
            parts[name] = parts[name][:start] + kept + parts[name][end:]
    return zipped(parts)


def change_parts(patterns: tuple[bytes, ...], raw: float) -> Any:
    """Change one to four files of a zip, or with some chance the zip itself."""

    def change(data: bytes, rng: random.Random, mutate: Mutate) -> bytes:
        parts = parts_of(data)
        if not parts or rng.random() < raw:
            return mutate(data)
        for _ in range(rng.choice((1, 1, 2, 4))):
            name = rng.choice(sorted(parts))
            parts[name] = changed(parts[name], patterns, rng, mutate)
        return zipped(parts)

    return change


def change_json(data: bytes, rng: random.Random, mutate: Mutate) -> bytes:
    return changed(data, JSON, rng, mutate)


# --- what is read, and what may come out -------------------------------------------------------


def read_one(read: Callable[[], object]) -> str:
    """Read a whole input: nothing but `InputError`, with faults in words, may come out."""
    from planner.errors import InputError

    try:
        read()
    except InputError as error:
        if not error.faults or not str(error).strip():
            raise AssertionError from error
        whole = len(error.faults) == 1 and error.faults[0].sheet in ("", error.source)
        return "refused as a whole" if whole else "refused with faults"
    return "read"


@cache
def scratch() -> Path:
    """A folder in memory, if the system has one."""
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="fuzz-", dir=memory if memory.is_dir() else None))


def workbook_seeds() -> list[bytes]:
    from tests.support.inputs import good, workbook

    small = {name: rows for name, rows in good().items() if name in SMALL}
    books = [workbook(scratch() / "seed.xlsx", rows).read_bytes() for rows in (small, good())]
    return [zipped(parts_of(book)) for book in books]


def run_workbook(data: bytes) -> str:
    """Read a workbook. What other libraries raise is a damaged workbook; our code may not raise."""
    from planner.season import grids, workbook
    from planner.season.read import read_season

    path = scratch() / "season.xlsx"
    path.write_bytes(data)
    hidden: list[BaseException] = []

    def refuse(source: str, seen: str, expected: str, remedy: str = "") -> NoReturn:
        error = sys.exc_info()[1]
        if error and not isinstance(error, workbook._Limit) and place_of(error).startswith(OURS):
            hidden.append(error)
        grids.refuse_input(source, seen, expected, remedy)

    workbook.refuse_input = refuse
    end = read_one(lambda: read_season(path))
    if hidden:
        raise hidden[0]
    if end == "refused with faults" and hashlib.sha256(data).digest()[0] % 8 == 0:
        return f"{end}, {run_mark(path)}"
    return end


def run_mark(path: Path) -> str:
    """Copy a workbook with its faults marked: nothing but `OutputError` may come out."""
    from planner.errors import Fault, OutputError
    from planner.form.mark import mark_faults

    faults = [Fault("Fields", 2, "Acres", "x", "y", "z", "B2"), Fault("Farm", expected="more")]
    try:
        mark_faults(path, faults, scratch() / "marked.xlsx")
    except OutputError:
        return "not marked"
    return "marked"


def csv_seeds() -> list[bytes]:
    from tests.support.inputs import folder, good

    small = {name: rows for name, rows in good().items() if name in SMALL}
    folders = [
        ROOT / "data" / "demo",
        folder(scratch() / "good", good()),
        folder(scratch() / "small", small),
        folder(scratch() / "semicolons", small, ";"),
    ]
    return [zipped({p.name: p.read_bytes() for p in sorted(f.iterdir())}) for f in folders]


@cache
def csv_names() -> frozenset[str]:
    from planner.season.schema import SHEETS

    return frozenset(f"{sheet.name.lower()}.csv" for sheet in SHEETS)


written: dict[str, bytes] = {}


def run_csv(data: bytes) -> str:
    """Read the folder that a zip holds, with and without the changes of a scenario."""
    from planner.season.read import read_season

    parts = {name: part for name, part in parts_of(data).items() if name in csv_names()}
    folder = scratch() / "season"
    folder.mkdir(exist_ok=True)
    for name in written.keys() - parts.keys():
        (folder / name).unlink()
        del written[name]
    for name, part in parts.items():
        if written.get(name) != part:
            (folder / name).write_bytes(part)
            written[name] = part
    scenario = "More spare" if hashlib.sha256(data).digest()[0] % 4 == 0 else ""
    return read_one(lambda: read_season(folder, scenario))


def text_of(data: bytes) -> str:
    try:
        return data.decode("utf-8", "surrogatepass")
    except UnicodeDecodeError:
        return data.decode("utf-8", "replace")


def run_text(data: bytes) -> str:
    """Read a text as a number, as a quantity of some measure, as a rate and as a percent."""
    from planner import units

    if len(data) < 3:
        return "too short"
    text = text_of(data[3:])
    measure = list(units.Measure)[data[0] % len(units.Measure)]
    unit = ("", measure.value, text[:12])[data[1] % 3]
    money = ("$", "€", "CHF", "", " ", text[:2])[data[2] % 6]
    comma = data[2] & 64 == 0
    end = "refused"
    for read in (
        lambda: units.read_number(text, comma),
        lambda: units.read_percent(text, comma),
        lambda: units.read_rate(text, unit, comma)[0],
        lambda: units.read_quantity(text, measure, unit, money, comma),
        lambda: units.find_unit(text, measure, money).factor,
        lambda: units.check_unit(text, measure),
        lambda: units.is_rate_unit(text),
    ):
        try:
            value = read()
        except units.Unreadable:
            continue
        if isinstance(value, float):
            end = "read"
            assert math.isfinite(value)
            assert abs(value) <= units.MOST
    return end


def text_seeds() -> list[bytes]:
    from planner import units
    from planner.units.factors import known_rates, known_units

    head = [bytes((i, j, k)) for i, j, k in ((0, 0, 0), (1, 1, 1), (2, 2, 2), (7, 1, 72))]
    texts = [
        "1",
        "140,000",
        "1 000.5",
        "140k",
        "3%",
        "0.5 %",
        "4.6 fl oz/cwt",
        "$1,200.50",
        *STRANGE,
    ]
    found = [h + t.encode(errors="surrogatepass") for h in head for t in texts]
    for i, measure in enumerate(units.Measure):
        found += [
            bytes((i, 0, 0)) + f"2.5 {unit}".encode() for unit in [*known_units(measure)][:12]
        ]
    return found + [b"\0\0\0" + f"2.5 {unit}".encode() for unit in [*known_rates()][:40]]


@cache
def columns() -> list[Any]:
    from planner.season.schema import SETTINGS, SHEETS

    return [*SETTINGS, *(column for sheet in SHEETS for column in sheet.columns)]


def run_cell(data: bytes) -> str:
    """Read a text as a cell of some column; what is read keeps to the column's bounds."""
    from planner.season.cells import Amount, Setting, read_cell
    from planner.units import Unreadable

    if len(data) < 3:
        return "too short"
    text = text_of(data[3:])
    column = columns()[data[0] % len(columns())]
    unit = column.shown if data[1] & 1 else column.unit
    money = ("$", "€", "CHF", "")[data[1] // 2 % 4]
    try:
        value = read_cell(text, column, Setting(unit, money, data[2] & 64 == 0))
    except Unreadable:
        return "refused"
    number = value.amount if isinstance(value, Amount) else value
    if isinstance(number, int | float) and not isinstance(number, bool):
        assert math.isfinite(number)
        assert column.low is None or number >= column.low
        assert column.high is None or number <= column.high
    return "read"


def cell_seeds() -> list[bytes]:
    texts = ["5", "2027-05-10", "05/10/2027", "a; b", "yes", "VG", "high", *STRANGE]
    found = []
    for i, column in enumerate(columns()):
        for text in (column.example, *column.choices[:2], *random.Random(i).sample(texts, 5)):
            found.append(bytes((i, i, 0)) + text.encode(errors="surrogatepass"))
    return found


def plan_seeds() -> list[bytes]:
    from planner import make_plan
    from planner.report.json import json_bytes
    from tests.support.random_season import tiny_season
    from tests.support.seasons import season

    seasons = [season(), tiny_season(3), tiny_season(8)]
    return [json_bytes(make_plan(s, seconds=2.0), s) for s in seasons]


def run_plan(data: bytes) -> str:
    """Read a plan.json, and the campaign in it if there is one."""
    from planner.report.json import read_plan

    path = scratch() / "plan.json"
    path.write_bytes(data)
    return read_one(lambda: read_plan(path))


TARGETS = {
    "workbook": Target(workbook_seeds, run_workbook, change_workbook),
    "csv": Target(csv_seeds, run_csv, change_parts(CELLS, 0.0)),
    "text": Target(text_seeds, run_text),
    "cell": Target(cell_seeds, run_cell),
    "plan": Target(plan_seeds, run_plan, change_json),
}


# --- running -----------------------------------------------------------------------------------


def place_of(error: BaseException) -> str:
    """File and line that raised."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{last.filename}:{last.lineno}"


def megabytes() -> float:
    """Most memory that this process ever had."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


@dataclass
class Watch:
    """Runs inputs, and keeps the first one of every kind of finding."""

    name: str
    seconds: float
    keep: Path
    began: float = field(default_factory=time.monotonic)
    inputs: int = 0
    slowest: float = 0.0
    found: dict[str, str] = field(default_factory=dict)
    ends: Counter[str] = field(default_factory=Counter)

    def one(self, data: bytes) -> None:
        self.inputs += 1
        start, before = time.process_time(), megabytes()
        try:
            self.ends[TARGETS[self.name].run(data)] += 1
        except Exception as error:
            self.note(f"{type(error).__name__} in {place_of(error)}", data)
        took = time.process_time() - start
        self.slowest = max(self.slowest, took)
        if took > MOST_SECONDS:
            self.note("over 5 seconds", data)
        if megabytes() - before > MOST_MEGABYTES:
            self.note("over 500 MB", data)
        if time.monotonic() - self.began > self.seconds:
            self.end()

    def note(self, kind: str, data: bytes) -> None:
        if kind not in self.found:
            path = self.keep / f"{self.name}-{hashlib.sha256(data).hexdigest()[:12]}"
            path.write_bytes(data)
            self.found[kind] = str(path)
            print(f"found: {kind}; kept in {path}", flush=True)

    def end(self) -> None:
        """Tell what was found and leave, past whatever the fuzzer would still do."""
        took = time.monotonic() - self.began
        ends = ", ".join(f"{count:,} {end}" for end, count in self.ends.most_common())
        told = f"{self.name}: {self.inputs:,} inputs in {took:.0f} s ({ends}),"
        told += f" slowest {self.slowest:.2f} s, peak {megabytes():.0f} MB,"
        print(f"{told} {len(self.found)} kinds of findings", flush=True)
        shutil.rmtree(scratch())
        os._exit(bool(self.found))


def fuzz(name: str, seconds: float, keep: Path) -> None:
    import atheris

    packages = ["planner", "openpyxl.reader", "openpyxl.worksheet", "openpyxl.styles"]
    with atheris.instrument_imports(include=packages):
        import openpyxl  # noqa: F401

        import planner.report.json
        import planner.season.csvs
        import planner.season.read
        import planner.season.workbook
        import planner.units  # noqa: F401

        seeds = scratch() / "seeds"
        seeds.mkdir()
        for number, data in enumerate(TARGETS[name].seeds()):
            (seeds / f"{number:04d}").write_bytes(data)
    words = scratch() / "words"
    tokens = {t for t in STRANGE if 0 < len(t) < 20 and t.isascii() and t.isprintable()}
    words.write_text(
        "".join(f"{json.dumps(t)}\n" for t in sorted(tokens) if "\\" not in json.dumps(t)), "ascii"
    )
    watch = Watch(name, seconds, keep)

    def change(data: bytes, most: int, seed: int) -> bytes:
        def mutate(piece: bytes) -> bytes:
            return atheris.Mutate(piece, len(piece) + 64)

        return TARGETS[name].change(data, random.Random(seed), mutate)[:most]

    short = name in ("text", "cell")
    options = [f"-max_len={MOST_LETTERS if short else MOST_BYTES}", f"-dict={words}"]
    options += ["-timeout=900", "-rss_limit_mb=3000", f"-artifact_prefix={keep}/"]
    options += ["-mutate_depth=1"] if not short else []  # ours changes more than one thing itself
    mutator = {} if short else {"custom_mutator": change}
    atheris.Setup([sys.argv[0], *options, str(seeds)], watch.one, **mutator)
    atheris.Fuzz()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--seconds", type=float, default=480.0)
    parser.add_argument("--again", type=Path, help="a finding to run once more")
    parser.add_argument("--keep", type=Path, help="folder for findings [a new one]")
    asked = parser.parse_args()
    if asked.again:
        TARGETS[asked.target].run(asked.again.read_bytes())
        return
    keep = asked.keep or Path(tempfile.mkdtemp(prefix="found-"))
    keep.mkdir(parents=True, exist_ok=True)
    fuzz(asked.target, asked.seconds, keep)


if __name__ == "__main__":
    main()
