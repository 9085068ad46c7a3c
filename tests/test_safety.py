"""Nothing lost, nothing half done, the same everywhere, whatever the machine does."""

import errno
import io
import json
import multiprocessing
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import highspy
import pytest

import planner
import planner.report.json
from planner import cli
from planner.errors import OutputError
from planner.form.safe import workbook_bytes, write_whole
from planner.optimize.mip.highs import Limits, Verdict
from planner.optimize.mip.process import Worker
from planner.optimize.model.instance import make_instance
from planner.optimize.model.program import make_model
from planner.report.files import PROMISE, settle, write_together
from planner.terminal import memory
from tests.conftest import tiny_folder
from tests.support import seasons
from tests.support.books import NAMES
from tests.support.quick import examples

ROOT = Path(__file__).parent.parent
Capture = pytest.CaptureFixture[str]
FARM = "Marten Hill"
OTHER = "Otter Bank"


def other_farm(tiny: Path) -> Path:
    """The tiny season under another farm's name."""
    folder = tiny.with_name("other")
    shutil.copytree(tiny, folder)
    farm = folder / "farm.csv"
    farm.write_text(farm.read_text("utf-8").replace(FARM, OTHER), "utf-8")
    return folder


def farms_in(folder: Path) -> set[str]:
    """Whose plans stand in a folder, read from both files in full."""
    found = {json.loads((folder / "plan.json").read_text("utf-8"))["farm"]}
    with zipfile.ZipFile(folder / "plan.xlsx") as book:
        assert book.testzip() is None
        text = b"".join(book.read(n) for n in book.namelist() if n.endswith(".xml")).decode()
    found |= {farm for farm in (FARM, OTHER) if farm in text}
    return found


def child(*arguments: str, **named) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "planner", *arguments],
        cwd=named.pop("cwd", ROOT),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        **named,
    )


def visible(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture(scope="module")
def both_planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the tiny season's plan in `0`, and the other farm's in `1`."""
    place = tmp_path_factory.mktemp("both")
    for number, source in enumerate((tiny := tiny_folder(place), other_farm(tiny))):
        season = planner.load(source)
        planner.write(planner.make_plan(season, seconds=20), season, place / str(number))
    return place


@pytest.fixture
def two_plans(both_planned: Path, tmp_path: Path) -> list[dict[str, bytes]]:
    """Files of the tiny season's plan, and of the other farm's, by name; in `0` and `1`, too."""
    for number in "01":
        shutil.copytree(both_planned / number, tmp_path / number)
    return [{p.name: p.read_bytes() for p in (tmp_path / number).iterdir()} for number in "01"]


# --- Files whole or not at all --------------------------------------------------------------------

WRITER = """
import sys
from pathlib import Path
from planner.report.files import write_together
both = [{p.name: p.read_bytes() for p in Path(name).iterdir()} for name in sys.argv[2:]]
print("ready", flush=True)
while True:
    for files in both:
        write_together(Path(sys.argv[1]), files)
"""


@pytest.mark.sampled
@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL there")
def test_killed_while_writing_leaves_one_whole_plan(two_plans, tmp_path: Path) -> None:
    """Some kills here; 200 and more with reports/reliability/stop_anywhere.py."""
    out = tmp_path / "out"
    write_together(out, two_plans[0])
    random.seed(7)
    for _ in range(examples(10)):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(out), str(tmp_path / "0"), str(tmp_path / "1")],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(random.uniform(0.0, 0.3))
        process.kill()
        process.communicate()
        settle(out)
        assert len(farms_in(out)) == 1


@pytest.mark.parametrize("text", ["", "[]", '{"plan.json": 5}', "[" * 100_000])
def test_a_note_of_renamings_that_makes_no_sense_is_taken_away(tmp_path: Path, text: str) -> None:
    (tmp_path / PROMISE).write_text(text, "utf-8")
    settle(tmp_path)
    assert not (tmp_path / PROMISE).exists()


def test_a_note_of_renamings_takes_nothing_from_elsewhere(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    mine = tmp_path / ".mine.0123456789ab.part"
    mine.write_text("mine")
    (out / PROMISE).write_text(json.dumps({"plan.json": f"../{mine.name}"}), "utf-8")
    settle(out)
    assert mine.read_text() == "mine"
    assert visible(out) == []


def test_what_a_killed_run_left_behind_is_swept_up(two_plans, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_together(out, two_plans[0])
    (out / ".plan.json.0123456789ab.part").write_text("half")
    (out / "my.part").write_text("mine")
    write_together(out, two_plans[1])
    assert visible(out) == sorted(["my.part", *two_plans[1]])


CRASH = """
import os, sys
from pathlib import Path
from planner.report.files import write_together
honest, left = Path.replace, int(sys.argv[2])
def replace(self, target):
    global left
    if left == 0:
        os._exit(9)
    left -= 1
    return honest(self, target)
Path.replace = replace
files = {path.name: path.read_bytes() for path in Path(sys.argv[3]).iterdir()}
write_together(Path(sys.argv[1]), files)
"""


@pytest.mark.slow
@pytest.mark.parametrize("renames", range(7))
def test_death_between_renames_is_finished_by_the_next_command(
    renames: int, two_plans, tmp_path: Path
) -> None:
    """The process vanishes before its (n+1)-th rename; the first is the note of what follows."""
    out = tmp_path / "out"
    write_together(out, two_plans[0])
    done = subprocess.run(
        [sys.executable, "-c", CRASH, str(out), str(renames), str(tmp_path / "1")],
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == (9 if renames < 1 + len(two_plans[0]) else 0)
    planner.report.json.read_plan(out / "plan.json")
    assert farms_in(out) == ({FARM} if renames == 0 else {OTHER})
    write_together(out, {"note.txt": b""})
    assert visible(out) == sorted(["note.txt", *two_plans[0]])


@pytest.mark.skipif(os.name == "nt", reason="rights are kept otherwise there")
def test_a_plan_that_others_may_not_read_stays_so(
    two_plans, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At no moment may others read the new one either, nor the copy of the old one."""
    out = tmp_path / "out"
    write_together(out, two_plans[0])
    for path in out.iterdir():
        path.chmod(0o600)
    seen = []
    honest = os.open

    def watched(path, flags, mode=0o777, **named):
        handle = honest(path, flags, mode, **named)
        if any(name in str(path) for name in two_plans[0]):
            seen.append(os.fstat(handle).st_mode & 0o077)
        return handle

    monkeypatch.setattr(os, "open", watched)
    write_together(out, two_plans[1])
    assert seen == [0] * 2 * len(two_plans[0])
    assert {path.stat().st_mode & 0o777 for path in out.iterdir()} == {0o600}


STEPS = [("os.open", os.open), ("os.fsync", os.fsync), ("pathlib.Path.replace", Path.replace)]


@pytest.mark.slow
@pytest.mark.parametrize(
    "failure", [OSError(errno.ENOSPC, "No space"), KeyboardInterrupt()], ids=repr
)
@pytest.mark.parametrize(("name", "honest"), STEPS, ids=lambda x: x if isinstance(x, str) else "")
def test_any_step_that_fails_leaves_the_old_plan(
    name: str, honest, failure: BaseException, two_plans, tmp_path: Path, monkeypatch
) -> None:
    """Each call of a step fails in turn, until a writing gets through without reaching it."""
    out = tmp_path / "out"
    write_together(out, two_plans[0])
    before = visible(out)
    for at in range(20):
        calls = iter(range(1000))

        def step(*args, at=at, calls=calls, **named):
            if next(calls) == at:
                raise failure
            return honest(*args, **named)

        with monkeypatch.context() as patch:
            patch.setattr(name, step)
            try:
                write_together(out, two_plans[1])
            except (planner.OutputError, KeyboardInterrupt):
                pass
            else:
                break
        farms = farms_in(out)
        assert farms == {FARM}
        assert visible(out) == before
    else:
        pytest.fail("never got through")
    assert at >= 1
    assert farms_in(out) == {OTHER}


@pytest.mark.slow
def test_two_runs_into_one_folder_do_not_mix(tiny: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    runs = [
        subprocess.Popen(
            [sys.executable, "-m", "planner", "plan", str(source), "--out", str(out), "--quiet"],
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
        )
        for source in (tiny, other_farm(tiny))
    ]
    assert [run.wait(120) for run in runs] == [0, 0]
    assert len(farms_in(out)) == 1


@contextmanager
def mounted(place: Path, options: str) -> Iterator[Path]:
    """A small file system of its own, where that is allowed."""
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)]
    if (
        not shutil.which("mount")
        or subprocess.run(mount, capture_output=True, check=False).returncode
    ):
        pytest.skip("no right to mount a small disk here")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


@pytest.mark.slow
def test_full_disk_keeps_the_old_plan(tiny: Path, tmp_path: Path) -> None:
    with mounted(tmp_path / "disk", "size=512k") as disk:
        out = disk / "out"
        assert child("plan", str(tiny), "--out", str(out)).returncode == 0
        free = shutil.disk_usage(disk).free
        (disk / "ballast").write_bytes(bytes(max(0, free - 8192)))
        done = child("plan", str(other_farm(tiny)), "--out", str(out))
        assert done.returncode == 6, done.stderr
        assert "full" in done.stderr
        assert "Traceback" not in done.stderr
        assert farms_in(out) == {FARM}
        assert visible(out) == ["plan.ics", "plan.json", "plan.xlsx", "shop.xlsx", "study.xlsx"]


def test_read_only_disk_is_told_before_the_work(tiny: Path, tmp_path: Path) -> None:
    with mounted(tmp_path / "disk", "ro") as disk:
        done = child("plan", str(tiny), "--out", str(disk / "out"))
    assert done.returncode == 6
    assert "read" in done.stderr
    assert done.stdout == ""


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere"
)
def test_folder_without_right_is_told(tiny: Path, tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    assert child("plan", str(tiny), "--out", str(tmp_path / "out")).returncode == 6


@pytest.mark.slow
def test_vanished_folder_is_made_again(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from planner.optimize.search import run

    out = tmp_path / "deep" / "out"
    out.mkdir(parents=True)
    honest = run.solve

    def solve(*args, **named):
        shutil.rmtree(tmp_path / "deep")
        return honest(*args, **named)

    monkeypatch.setattr("planner.optimize.search.run.solve", solve)
    assert cli.run(["plan", str(tiny), "--out", str(out)]) == 0
    assert farms_in(out) == {FARM}


def test_folder_that_became_a_file_is_told(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    from planner.optimize.search import run

    out = tmp_path / "out"
    honest = run.solve

    def solve(*args, **named):
        out.write_text("in the way")
        return honest(*args, **named)

    monkeypatch.setattr("planner.optimize.search.run.solve", solve)
    assert cli.run(["plan", str(tiny), "--out", str(out)]) == 6
    assert "--out" in capsys.readouterr().err
    assert out.read_text() == "in the way"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_results_that_cannot_be_printed_are_told(tiny: Path) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "planner", "check", str(tiny)],
            cwd=ROOT,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 6
    assert "Traceback" not in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
@pytest.mark.parametrize(
    ("stream", "code", "said"),
    [
        ("stdout", 6, "The results could not be printed: No space left on device. Any files were"),
        ("stderr", 0, "Written: "),
    ],
)
def test_a_plan_is_written_where_nothing_can_be_printed(
    stream: str, code: int, said: str, tiny: Path, tmp_path: Path
) -> None:
    """The order is printed before the files are written: a full disk behind it must not end it."""
    out = tmp_path / "out"
    with Path("/dev/full").open("w") as full:
        shown = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, stream: full}
        done = subprocess.run(
            [sys.executable, "-m", "planner", "plan", str(tiny), "--out", str(out)],
            cwd=ROOT,
            text=True,
            check=False,
            **shown,
        )
    assert done.returncode == code
    assert farms_in(out) == {FARM}
    told = f"{done.stdout or ''}{done.stderr or ''}"
    assert said in told
    assert "Traceback" not in told


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="pipes of POSIX")
def test_a_plan_is_written_where_nobody_reads_what_is_printed(tiny: Path, tmp_path: Path) -> None:
    """As `wholedrum plan season | head -1`."""
    out = tmp_path / "out"
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "planner", "plan", str(tiny), "--out", str(out), "--quiet"],
        cwd=ROOT,
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (0, "")
    assert farms_in(out) == {FARM}


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="streams are closed otherwise there")
@pytest.mark.parametrize("closed", [(1,), (2,), (0, 1, 2)], ids=str)
def test_closed_streams_are_no_place_for_files(
    closed: tuple[int, ...], tiny: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"

    def close() -> None:
        for number in closed:
            os.close(number)

    done = child("plan", str(tiny), "--out", str(out), preexec_fn=close)
    assert done.returncode == 0, done.stderr
    assert farms_in(out) == {FARM}


# --- Nothing dangerous out ------------------------------------------------------------------------

DANGEROUS = {
    "Home 80": '=HYPERLINK("http://x.invalid";"Home")',
    "L-1": "+cmd|' /C calc'!A0",
    "Heron": "@SUM(1)",
    "Green Cap": "-2+3",
    "Base": "=1+1",
    "jug": "../../jug",
    "Marten Hill": "../../../Marten <b>Hill</b> http://x.invalid",
}


def dangerous_season(tiny: Path) -> None:
    """Every name of the tiny season replaced by one that a program might obey."""
    for path in tiny.iterdir():
        text = path.read_text("utf-8")
        for name, other in DANGEROUS.items():
            quoted = '"' + other.replace('"', '""') + '"'
            text = re.sub(rf"(?<=[,\n]){re.escape(name)}(?=[,\n])", lambda _, q=quoted: q, text)
        path.write_text(text, "utf-8")


def test_text_from_the_input_never_becomes_a_formula_or_a_link(tiny: Path, tmp_path: Path) -> None:
    from openpyxl import load_workbook

    dangerous_season(tiny)
    before = visible(tmp_path)
    assert cli.run(["plan", str(tiny), "--out", str(tmp_path / "out"), "--seconds", "20"]) == 0
    assert visible(tmp_path) == sorted([*before, "out"])
    written = json.loads((tmp_path / "out" / "plan.json").read_text("utf-8"))
    assert written["planting"][0]["field"] == DANGEROUS["Home 80"]
    books = [load_workbook(tmp_path / "out" / name) for name in NAMES]
    texts = set()
    for cell in (c for book in books for page in book for row in page.iter_rows() for c in row):
        if cell.data_type == "f":
            assert not any(name in str(cell.value) for name in DANGEROUS.values()), cell.value
        if cell.hyperlink is not None:
            assert cell.hyperlink.target is None
        texts.add(str(cell.value))
    assert set(DANGEROUS.values()) - {DANGEROUS["Marten Hill"]} <= texts
    for book in NAMES:
        with zipfile.ZipFile(tmp_path / "out" / book) as parts:
            for name in parts.namelist():
                assert b'TargetMode="External"' not in parts.read(name)


WATCHED = """
import os, sys
seen = []
writing = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
def watch(event, arguments):
    if event == "open" and arguments[2] & writing and isinstance(arguments[0], (str, bytes)):
        seen.append(os.fsdecode(arguments[0]))
    elif event in ("os.mkdir", "os.remove", "os.rmdir", "os.rename", "os.link", "os.symlink"):
        seen.extend(os.fsdecode(a) for a in arguments if isinstance(a, (str, bytes)))
    elif event.startswith(("socket.", "subprocess.", "os.system", "os.exec", "os.posix_spawn",
                           "os.spawn", "urllib.", "http.", "ftplib.", "smtplib.", "ctypes.dlopen")):
        seen.append(f"EVENT {event} {arguments}")
sys.dont_write_bytecode = True
from planner.cli import run
import planner.optimize.search.run, planner.report.workbook, planner.season.read
sys.addaudithook(watch)
code = run(sys.argv[1:])
print("\\n".join(["----", *seen]))
raise SystemExit(code)
"""


@pytest.mark.slow
def test_no_network_no_shell_and_nothing_outside_the_folder(tiny: Path, tmp_path: Path) -> None:
    """Watched from inside the interpreter: what is opened for writing, started, or connected."""
    out, temporary = tmp_path / "out", tmp_path / "temporary"
    temporary.mkdir()
    done = subprocess.run(
        [sys.executable, "-c", WATCHED, "plan", str(tiny), "--out", str(out), "--seconds", "5"],
        cwd=ROOT,
        env=os.environ | {"TMPDIR": str(temporary)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    seen = done.stdout.split("----\n")[1].split("\n")[:-1]
    assert any(path.startswith(f"{out}{os.sep}") for path in seen)
    for path in seen:
        assert path in (str(out), os.devnull) or path.startswith(f"{out}{os.sep}"), path
    assert visible(temporary) == []


def test_a_full_disk_asks_for_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Closing a file would not help there, and nothing is left behind."""

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match=r"\(No space left on device\); make room or choose"):
        write_whole(tmp_path / "plan.json", b"{}")
    assert not list(tmp_path.iterdir())


def test_a_workbook_is_made_without_temporary_files(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same to the byte as openpyxl makes with them, but for the moment that it notes."""
    from openpyxl import load_workbook
    from openpyxl.worksheet import _writer

    demo = ROOT / "data" / "demo.xlsx"
    usual = io.BytesIO()
    load_workbook(demo).save(usual)
    monkeypatch.delattr(_writer, "NamedTemporaryFile")
    ours = workbook_bytes(load_workbook(demo))
    with zipfile.ZipFile(usual) as one, zipfile.ZipFile(io.BytesIO(ours)) as other:
        assert one.namelist() == other.namelist()
        for name in set(one.namelist()) - {"docProps/core.xml"}:
            assert one.read(name) == other.read(name), name


# --- The solver fails -----------------------------------------------------------------------------


def with_solver(monkeypatch: pytest.MonkeyPatch, run) -> None:
    """Let every run of the solver be this function."""
    monkeypatch.setattr(highspy.Highs, "run", run)


def test_solver_that_raises_ends_in_a_sentence(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    def run(_self: object) -> None:
        msg = "presolve went astray"
        raise RuntimeError(msg)

    with_solver(monkeypatch, run)
    assert cli.run(["plan", str(tiny), "--out", str(tmp_path / "out")]) == 5
    shown = capsys.readouterr().err
    assert "presolve went astray" in shown
    assert "Traceback" not in shown
    assert not (tmp_path / "out").exists()


def test_memory_refused_to_the_solver_ends_in_a_sentence(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    def run(_self: object) -> None:
        raise MemoryError

    with_solver(monkeypatch, run)
    assert cli.run(["plan", str(tiny), "--out", str(tmp_path / "out")]) == 5
    assert "memory" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_solver_that_does_nothing_proves_nothing(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """Without a run there is no status and no solution: never a plan, never a proof."""
    with_solver(monkeypatch, lambda _self: highspy.HighsStatus.kError)
    assert cli.run(["plan", str(tiny), "--out", str(tmp_path / "out")]) == 5
    assert not (tmp_path / "out").exists()
    assert "Traceback" not in capsys.readouterr().err


def test_modules_that_lie_about_are_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The process that solves imports nothing from the folder that the user stands in."""
    for name in ("numpy", "highspy", "planner", "pickle"):
        mark = f"open({str(tmp_path / 'taken')!r}, 'w')\nraise SystemExit\n"
        (tmp_path / f"{name}.py").write_text(mark, "utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PYTHONPATH", raising=False)  # which could name this very folder
    worker = Worker()
    try:
        answer = worker.solve(make_model(make_instance(seasons.season())).matrix, Limits())
    finally:
        worker.close()
    assert not (tmp_path / "taken").exists()
    assert answer.verdict is Verdict.OPTIMAL


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL there")
def test_killed_worker_costs_its_answer_only(tiny: Path) -> None:
    """Both processes that plan changed seasons are killed as soon as they are there."""
    from planner.explain import trial

    season = planner.load(tiny)
    trials = [trial.Trial(str(number), season) for number in range(4)]
    killed: list[int | None] = []
    over = threading.Event()

    def kill() -> None:
        while len(killed) < 2 and not over.is_set():
            for process in multiprocessing.active_children():
                if len(killed) < 2 and process.pid not in killed:
                    process.kill()
                    killed.append(process.pid)
            time.sleep(0.01)

    killer = threading.Thread(target=kill)
    killer.start()
    plans = trial.solve_all(trials, trial.ExplainBudget(effort=10, workers=2))
    over.set()
    killer.join()
    assert len(killed) == 2
    assert len(plans) >= 2, "the processes that took their place answered nothing"
    assert all(plan.cost.total == pytest.approx(200) for plan in plans.values())


def test_memory_refused_somewhere_ends_in_a_sentence(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """A thread, a process and a library for which there is no memory; other errors are none."""
    from planner.optimize.search import run

    for error, code in (
        (MemoryError(), 5),
        (RuntimeError("can't start new thread"), 5),
        (OSError(errno.ENOMEM, "Cannot allocate memory"), 5),
        (ImportError("libhighs.so.1: failed to map segment from shared object"), 5),
        (RuntimeError("memory of better days"), 1),
        (OSError(errno.EIO, "Input/output error"), 6),
    ):

        def solve(*_: object, error: Exception = error, **__: object) -> None:
            raise error

        monkeypatch.setattr(run, "solve", solve)
        assert cli.run(["plan", str(tiny), "--out", str(tmp_path / "out")]) == code
        told = capsys.readouterr().err
        assert told.count("\n") == 1
        assert ("enough memory" in told or "needs more memory" in told) == (code == 5)
        assert not (tmp_path / "out").exists()


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="limits on memory work otherwise there")
@pytest.mark.parametrize("kind", ["RLIMIT_AS", "RLIMIT_DATA"])
def test_memory_that_is_refused_to_the_process_ends_in_a_sentence(
    kind: str, tiny: Path, tmp_path: Path
) -> None:
    """Too little to load the libraries in; more limits with reports/reliability/memory.py."""
    import resource

    out = tmp_path / "out"
    for megabytes in (24, 80, 150, 250, 420, 512, 640, 1023, 1024, 1280):

        def cut(limit: int = megabytes * 2**20) -> None:
            resource.setrlimit(getattr(resource, kind), (limit, limit))

        done = child("plan", str(tiny), "--out", str(out), "--seconds", "5", preexec_fn=cut)
        if megabytes < 1024:
            assert done.returncode == 5, (megabytes, done.stderr)
            assert "memory" in done.stderr
            assert done.stderr.count("\n") == 1
            assert not out.exists()
        else:
            assert done.returncode == 0, (megabytes, done.stderr)
            assert farms_in(out) == {FARM}


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sets no limit")
@pytest.mark.parametrize(
    ("end", "code"),
    [
        ("os.abort()", 5),
        ("os.kill(os.getpid(), signal.SIGKILL)", 5),
        ("os._exit(127)", 5),
        ("os._exit(3)", 3),
        ("os.kill(os.getpid(), signal.SIGTERM)", 143),
    ],
)
def test_a_library_that_ends_the_process_is_told_where_memory_is_limited(
    end: str, code: int
) -> None:
    limit = "resource.setrlimit(resource.RLIMIT_AS, (2**32, 2**32))"
    core = "resource.setrlimit(resource.RLIMIT_CORE, (0, 0))"
    lines = ("import os, resource, signal", limit, core)
    goes_on = "from planner.terminal.memory import watched; watched()"
    script = "; ".join((*lines, goes_on, end))
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert done.returncode == code
    assert done.stderr.splitlines() == ([memory.RAN_OUT] if code == 5 else [])


# --- The same everywhere --------------------------------------------------------------------------

ENVIRONMENTS = {
    "C locale": {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"},
    "UTF-8 locale": {"LC_ALL": "C.UTF-8"},
    "ASCII streams": {"PYTHONIOENCODING": "ascii"},
    "east end": {"TZ": "Pacific/Kiritimati"},
    "west end": {"TZ": "Etc/GMT+12"},
    "no home": {"HOME": None},
    "hash seed": {"PYTHONHASHSEED": "4242"},
}


@pytest.mark.slow
@pytest.mark.parametrize("name", ENVIRONMENTS)
def test_same_plan_in_every_environment(name: str, tiny: Path, tmp_path: Path) -> None:
    """A folder with spaces and letters of other scripts, and such names inside."""
    folder = tmp_path / "Höfe 東の畑" / "сезон 1"
    shutil.copytree(tiny, folder)
    for path in folder.iterdir():
        path.write_text(path.read_text("utf-8").replace("Home 80", "畑 Ü 80"), "utf-8")
    environment = {k: v for k, v in os.environ.items() if k not in ("PYTHONUTF8", "LC_ALL")}
    for key, value in ENVIRONMENTS[name].items():
        environment.pop(key, None)
        if value is not None:
            environment[key] = value
    done = child("plan", str(folder), env=environment)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    written = json.loads((folder.parent / "сезон 1-plan" / "plan.json").read_text("utf-8"))
    assert written["outcome"] == "optimal"
    assert written["cost"]["total"] == pytest.approx(200.0)
    assert written["planting"][0]["field"] == "畑 Ü 80"


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_at_some_moments(sent: signal.Signals, tiny: Path, tmp_path: Path) -> None:
    """A few moments here; 200 with reports/reliability/stop_anywhere.py."""
    out, temporary = tmp_path / "out", tmp_path / "temporary"
    temporary.mkdir()
    assert child("plan", str(tiny), "--out", str(out)).returncode == 0
    before = visible(out)
    season = other_farm_once(tiny)
    random.seed(3)
    heard = 0
    for attempt in range(40):
        process = subprocess.Popen(
            [sys.executable, "-m", "planner", "plan", str(season), "--out", str(out)],
            cwd=ROOT,
            env=os.environ | {"TMPDIR": str(temporary)},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        with suppress(subprocess.TimeoutExpired):
            process.wait(random.uniform(0.15, 0.5) + 0.1 * attempt)
        ended = process.poll() is not None
        process.send_signal(sent)
        _, told = process.communicate(timeout=60)
        early = process.returncode == 1 and "KeyboardInterrupt" in told and "planner" not in told
        if process.returncode == -sent or early:  # Python itself was still starting
            assert farms_in(out) <= {FARM, OTHER}
            continue
        heard += not ended
        assert process.returncode in (0, 128 + sent)
        assert "Traceback" not in told
        assert len(farms_in(out)) == 1
        assert visible(out) == before
        assert visible(temporary) == []
        if heard == 4 or ended:
            break
    assert heard > 0, "no signal came while the program was at work"


SENT = """
import os, signal, sys
from planner.cli import main
import planner.report.files
def replace_all(*_):
    os.kill(os.getpid(), signal.SIGTERM)
    raise AssertionError("it went on")
planner.report.files._replace_all = replace_all
main(sys.argv[1:])
"""


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
def test_the_system_ends_a_run_that_lets_go(tiny: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    command = [sys.executable, "-c", SENT, "plan", str(tiny), "--out", str(out), "--quiet"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (143, "")
    assert done.stdout == "All 80 acres are covered.\n"  # said before it is written
    assert not out.exists()


def other_farm_once(tiny: Path) -> Path:
    folder = tiny.with_name("other")
    return folder if folder.exists() else other_farm(tiny)
