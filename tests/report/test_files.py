"""Files appear whole and together or not at all, and every refusal says what to do."""

import errno
import io
import os
import stat
import threading
import zipfile
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest

from planner.errors import OutputError
from planner.report import files, lock
from planner.report.files import check_folder, kept, write_together
from planner.report.measures import Manner
from planner.report.plan_files import write_or_beside
from planner.report.sheets import Book, Sheet, Text
from planner.report.workbook import render
from planner.terminal.text import written_lines
from tests.support.office import needs_office, recalculated

OURS = "<dc:creator>wholedrum</dc:creator>"
UNCHANGED = f"{OURS}<cp:lastModifiedBy>wholedrum</cp:lastModifiedBy>"


def book_of(text: str, core: str = UNCHANGED) -> bytes:
    """The least that makes a workbook one of ours."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as parts:
        parts.writestr("docProps/core.xml", core)
        parts.writestr("text", text)
    return data.getvalue()


OLD = {"plan.xlsx": book_of("old"), "plan.json": b'{"contract": 1, "farm": "old"}'}
NEW = {"plan.xlsx": book_of("new" * 1000), "plan.json": b'{"contract": 1, "farm": "new"}'}


def standing(folder: Path) -> dict[str, bytes]:
    """Everything in a folder, hidden files included."""
    return {p.name: p.read_bytes() for p in folder.iterdir()}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "out"
    write_together(folder, OLD)
    return folder


def test_both_files_stand_and_nothing_else(folder: Path) -> None:
    assert write_together(folder, NEW) == (folder / "plan.xlsx", folder / "plan.json")
    assert standing(folder) == NEW


def test_missing_folders_are_made(tmp_path: Path) -> None:
    write_together(tmp_path / "a" / "b", NEW)
    assert standing(tmp_path / "a" / "b") == NEW


def fail_at(monkeypatch: pytest.MonkeyPatch, owner, name: str, call: int, number: int) -> None:
    """Make the n-th call of a function fail as the system would."""
    real, calls = getattr(owner, name), []

    def failing(*args, **kwargs):
        calls.append(args)
        if len(calls) == call:
            raise OSError(number, os.strerror(number), str(args[0]))
        return real(*args, **kwargs)

    monkeypatch.setattr(owner, name, failing)


@pytest.mark.parametrize("call", [1, 2])
@pytest.mark.parametrize(
    ("name", "number", "said"),
    [("fsync", errno.ENOSPC, "full"), ("open", errno.EDQUOT, "full")],
)
def test_a_full_disk_leaves_the_old_pair(
    folder: Path, monkeypatch: pytest.MonkeyPatch, name: str, number: int, said: str, call: int
) -> None:
    fail_at(monkeypatch, files.os, name, call, number)
    with pytest.raises(OutputError, match=said) as caught:
        write_together(folder, NEW)
    assert caught.value.exit_code == 6
    monkeypatch.undo()
    assert standing(folder) == OLD


@pytest.mark.parametrize("call", [2, 3])
def test_a_file_held_by_another_program_leaves_the_old_pair(
    folder: Path, monkeypatch: pytest.MonkeyPatch, call: int
) -> None:
    """Some systems refuse to replace an open file: then neither file is replaced.

    The first renaming is that of the note of what is to be renamed.
    """
    real, calls = Path.replace, []

    def held(self: Path, target: Path) -> Path:
        calls.append(target)
        if len(calls) == call:
            raise PermissionError(errno.EACCES, "Access is denied", str(self), None, str(target))
        return real(self, target)

    monkeypatch.setattr(Path, "replace", held)
    with pytest.raises(OutputError, match="close it in the program"):
        write_together(folder, NEW)
    monkeypatch.undo()
    assert standing(folder) == OLD


@pytest.mark.parametrize("call", [1, 2, 3])
def test_stopping_in_the_middle_leaves_the_old_pair(
    folder: Path, monkeypatch: pytest.MonkeyPatch, call: int
) -> None:
    real, calls = Path.replace, []

    def stopped(self: Path, target: Path) -> Path:
        calls.append(target)
        if len(calls) == call:
            raise KeyboardInterrupt
        return real(self, target)

    monkeypatch.setattr(Path, "replace", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_together(folder, NEW)
    monkeypatch.undo()
    assert standing(folder) == OLD


def test_failing_in_a_new_folder_leaves_no_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fail_at(monkeypatch, files.os, "fsync", 2, errno.ENOSPC)
    with pytest.raises(OutputError):
        write_together(tmp_path / "a" / "b", NEW)
    monkeypatch.undo()
    assert standing(tmp_path) == {}


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (errno.EROFS, "can only be read"),
        (errno.EACCES, "no right to write"),
        (errno.ENOENT, "is gone"),
        (errno.ENAMETOOLONG, "too long"),
        (errno.EIO, "cannot be written"),
    ],
)
def test_every_refusal_says_what_to_do(
    folder: Path, monkeypatch: pytest.MonkeyPatch, number: int, said: str
) -> None:
    fail_at(monkeypatch, files.os, "open", 1, number)
    with pytest.raises(OutputError, match=said) as caught:
        write_together(folder, NEW)
    assert "choose another folder" in str(caught.value)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="this user may write anywhere")
def test_a_folder_without_the_right_to_write(folder: Path) -> None:
    folder.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="no right to write"):
            write_together(folder, NEW)
    finally:
        folder.chmod(0o700)
    assert standing(folder) == OLD


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    place = tmp_path / "taken"
    place.write_bytes(b"mine")
    for folder in (place, place / "deeper"):
        with pytest.raises(OutputError, match="is a file, not a folder"):
            write_together(folder, NEW)
    assert place.read_bytes() == b"mine"


def test_a_folder_where_a_file_should_be(tmp_path: Path) -> None:
    (tmp_path / "plan.json").mkdir()
    with pytest.raises(OutputError, match="is a folder"):
        write_together(tmp_path, NEW)
    assert [p.name for p in tmp_path.iterdir()] == ["plan.json"]


@pytest.mark.parametrize("name", ["../plan.json", "a/b", "/etc/x", "", "..", "a\\b", "c:x"])
def test_nothing_is_written_outside_the_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(ValueError, match="no plain file name"):
        write_together(tmp_path / "out", {name: b""})
    assert standing(tmp_path) == {}


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_is_replaced_and_its_target_left_alone(tmp_path: Path) -> None:
    target = tmp_path / "precious"
    target.write_bytes(b"mine")
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "plan.json").symlink_to(target)
    write_together(folder, NEW)
    assert target.read_bytes() == b"mine"
    assert not (folder / "plan.json").is_symlink()


@pytest.mark.skipif(os.name == "nt", reason="rights are kept otherwise there")
def test_rights_are_those_of_any_new_file_or_of_the_old_one(folder: Path) -> None:
    beside = folder.parent / "beside"
    beside.write_bytes(b"")
    assert (folder / "plan.json").stat().st_mode == beside.stat().st_mode
    (folder / "plan.json").chmod(0o640)
    write_together(folder, NEW)
    assert stat.S_IMODE((folder / "plan.json").stat().st_mode) == 0o640


def test_runs_into_one_folder_take_turns(tmp_path: Path) -> None:
    """Whoever comes last, the two files are of one run."""
    errors = []

    def run(mark: bytes) -> None:
        try:
            for _ in range(10):
                write_together(tmp_path, {"plan.xlsx": mark * 5000, "plan.json": mark})
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=run, args=(m,)) for m in (b"a", b"b", b"c")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not errors
    found = standing(tmp_path)
    assert set(found) == {"plan.xlsx", "plan.json"}
    assert found["plan.xlsx"] == found["plan.json"] * 5000


@pytest.mark.skipif(os.name == "nt", reason="locks otherwise there")
def test_waiting_for_another_run_ends_in_words(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    monkeypatch.setattr(lock, "WAIT_SECONDS", 0.2)
    with (folder / lock.LOCK).open("wb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(OutputError, match="another run is writing"):
            write_together(folder, NEW)
    assert {k: v for k, v in standing(folder).items() if k != lock.LOCK} == OLD


def test_a_lock_left_by_a_run_that_died_is_no_hindrance(folder: Path) -> None:
    (folder / lock.LOCK).write_bytes(b"")
    write_together(folder, NEW)
    assert standing(folder) == NEW


def test_checking_a_folder_leaves_no_trace(folder: Path, tmp_path: Path) -> None:
    check_folder(folder)
    assert standing(folder) == OLD
    check_folder(tmp_path / "new" / "one")
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    "mark", [".~lock.plan.xlsx#", "~$plan.xlsx", "~$shop.xlsx", ".~lock.study.xlsx#"]
)
def test_an_open_workbook_is_told_before_the_work(folder: Path, mark: str) -> None:
    (folder / mark).write_bytes(b"")
    with pytest.raises(OutputError, match="close it"):
        check_folder(folder)


@pytest.mark.parametrize("name", ["plan.xlsx", "shop.xlsx", "study.xlsx", "plan.json", "plan.ics"])
def test_a_folder_in_the_way_is_told_before_the_work(tmp_path: Path, name: str) -> None:
    (tmp_path / name).mkdir()
    with pytest.raises(OutputError, match="is a folder"):
        check_folder(tmp_path)


def test_a_file_that_cannot_be_opened_for_writing_is_told_before_the_work(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a system does with a file that a program holds, or that is write-protected."""
    real = Path.open

    def held(self: Path, mode: str = "r", *more):
        if self.name == "plan.xlsx" and mode == "r+b":
            raise PermissionError(errno.EACCES, "Access is denied", str(self))
        return real(self, mode, *more)

    monkeypatch.setattr(Path, "open", held)
    with pytest.raises(OutputError, match=r"plan\.xlsx cannot be replaced; close it"):
        check_folder(folder)
    monkeypatch.undo()
    assert standing(folder) == OLD


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="this user may write anywhere")
def test_a_write_protected_plan_is_told_before_the_work(folder: Path) -> None:
    (folder / "plan.xlsx").chmod(0o444)
    with pytest.raises(OutputError, match="write protection"):
        check_folder(folder)


BESIDE = {"plan (2).xlsx": NEW["plan.xlsx"], "plan (2).json": NEW["plan.json"]}


def hold(how: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep plan.xlsx from being replaced, in one of the ways that happen."""
    if how == "mark":
        (folder / ".~lock.plan.xlsx#").write_bytes(b"")
    elif how == "folder":
        (folder / "plan.xlsx").unlink()
        (folder / "plan.xlsx").mkdir()
    else:
        real = Path.replace

        def held(self: Path, target: Path) -> Path:
            if Path(target).name == "plan.xlsx":
                raise OSError(getattr(errno, how), "held", str(self), None, str(target))
            return real(self, target)

        monkeypatch.setattr(Path, "replace", held)


@pytest.mark.parametrize("how", ["EACCES", "EPERM", "EBUSY", "mark", "folder"])
def test_where_an_older_file_is_held_all_are_written_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    write_together(tmp_path, OLD)
    hold(how, tmp_path, monkeypatch)
    paths = write_or_beside(tmp_path, NEW)
    assert {p.name: p.read_bytes() for p in paths} == BESIDE
    assert (tmp_path / "plan.json").read_bytes() == OLD["plan.json"]
    again = write_or_beside(tmp_path, NEW)
    assert [p.name for p in again] == ["plan (3).xlsx", "plan (3).json"]
    third = write_or_beside(tmp_path, dict(zip(BESIDE, NEW.values(), strict=True)))
    assert {p.name for p in third} == set(BESIDE)  # a later write of the same run


@pytest.mark.parametrize("name", ["plan.xlsx", "plan.json", "plan.ics"])
def test_a_file_that_is_not_ours_is_told_before_the_work_and_stays(folder: Path, name: str) -> None:
    mine = b'["contract"]' if name == "plan.json" else b"mine"
    (folder / name).write_bytes(mine)
    with pytest.raises(OutputError, match=f"{name} is not a file that wholedrum wrote"):
        check_folder(folder)
    paths = write_or_beside(folder, NEW | {"plan.ics": b"PRODID:-//wholedrum//"})
    assert [p.stem for p in paths] == ["plan (2)"] * 3
    assert (folder / name).read_bytes() == mine


def test_an_input_is_not_replaced_though_it_is_ours(folder: Path) -> None:
    beside = folder.parent / "same.json"
    beside.hardlink_to(folder / "plan.json")
    check_folder(folder, ["compare.json"], [beside])
    for path in (beside, folder / "plan.json"):
        with pytest.raises(OutputError, match=r"plan\.json is the input itself"):
            check_folder(folder, ["plan.json"], [path])


def test_where_nothing_holds_them_the_older_files_are_replaced(folder: Path) -> None:
    assert write_or_beside(folder, NEW) == (folder / "plan.xlsx", folder / "plan.json")
    assert standing(folder) == NEW


@pytest.mark.parametrize(
    "core",
    [
        # as an office program saves it with its user's name, and with none
        f"{OURS}<cp:lastModifiedBy>A. Keeper</cp:lastModifiedBy>",
        f"{UNCHANGED}<cp:revision>1</cp:revision>",
        OURS,
    ],
)
def test_a_workbook_that_something_is_typed_into_is_kept(folder: Path, core: str) -> None:
    typed = book_of("weights of April", core)
    (folder / "plan.xlsx").write_bytes(typed)
    paths = write_or_beside(folder, NEW)
    assert [p.name for p in paths] == ["plan.xlsx", "plan.json", "plan (kept).xlsx"]
    assert standing(folder) == {**NEW, "plan (kept).xlsx": typed}
    assert written_lines(paths)[-1].startswith("Kept, with what was typed into it: ")
    (folder / "plan.xlsx").write_bytes(typed)
    assert "plan (kept 2).xlsx" in {p.name for p in write_or_beside(folder, NEW)}
    assert write_or_beside(folder, NEW) == (folder / "plan.xlsx", folder / "plan.json")


@needs_office
def test_a_workbook_that_an_office_program_just_saved_is_not_kept(tmp_path: Path) -> None:
    """But one that something is typed into is, before it is saved so or after."""
    book = Book((Sheet("One", "Why.", (Text(("Read.",)),)),), Manner(), "Farm", "Season")
    path = tmp_path / "shop.xlsx"
    path.write_bytes(render(book))
    recalculated(path)
    saved = tmp_path / "recalculated" / "shop.xlsx"
    assert files.is_ours(saved)
    assert saved.read_bytes() != path.read_bytes()
    assert kept(saved.parent, ["shop.xlsx"]) == {}
    typed = openpyxl.load_workbook(saved)
    typed["One"]["C9"] = "18.4"
    typed.properties.lastModifiedBy = ""
    typed.save(path)
    recalculated(path)
    for file in (path, saved):
        assert [*kept(file.parent, ["shop.xlsx"])] == ["shop (kept).xlsx"]


def test_what_is_typed_by_a_program_that_leaves_the_name_is_kept(tmp_path: Path) -> None:
    """It says who saved last as we left it, and only the time is another."""
    book = Book((Sheet("One", "Why.", (Text(("Read.",)),)),), Manner(), "Farm", "Season")
    path = tmp_path / "shop.xlsx"
    path.write_bytes(render(book))
    assert kept(tmp_path, ["shop.xlsx"]) == {}
    typed = openpyxl.load_workbook(path)
    typed["One"]["C9"] = "18.4"
    typed.properties.created = datetime(2027, 4, 1)
    typed.save(path)
    assert [*kept(tmp_path, ["shop.xlsx"])] == ["shop (kept).xlsx"]


def test_a_full_disk_is_no_reason_to_write_beside(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fail_at(monkeypatch, files.os, "fsync", 1, errno.ENOSPC)
    with pytest.raises(OutputError, match="full"):
        write_or_beside(folder, NEW)
    monkeypatch.undo()
    assert standing(folder) == OLD
