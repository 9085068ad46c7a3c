"""Files written whole or not at all, several together, in one folder and nowhere else."""

from __future__ import annotations

import contextlib
import errno
import itertools
import json
import os
import re
import secrets
import shutil
import zipfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from planner.errors import OutputError
from planner.report.lock import locked

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping


STEM = "plan"
PACKS = ("winter", "shop", "study")
"""Workbooks of a plan; see `planner.report.packs`."""
WORKBOOKS = (f"{STEM}.xlsx", "shop.xlsx", "study.xlsx")
"""Their names, in that order."""
JSON = f"{STEM}.json"
CALENDAR = f"{STEM}.ics"
KEPT = "kept"
"""In the name of a workbook that was changed since it was written."""
CAMPAIGN = "campaign.xlsx"
"""Written when bags are reported done, of the plan beside it."""
ELSEWHERE = "choose another folder with --out"
"""Last words on a file that can't be written; see `in_place`."""
PROMISE = ".wholedrum-promise"
ANY_NEW_FILE = 0o666
"""Rights before the user's own mask."""
HELD = (errno.EACCES, errno.EPERM, errno.EBUSY, errno.ETXTBSY, errno.EISDIR)
"""How systems say that a file that is there can't be replaced."""
CREATOR = b"<dc:creator>wholedrum</dc:creator>"
LAST = b"<cp:lastModifiedBy>wholedrum</cp:lastModifiedBy>"
AGAIN = b"<cp:revision>"
"""Put in by LibreOffice, which leaves the name before it where its user has given none."""
WHEN = re.compile(rb"<dcterms:(?:created|modified)[^>]*>([^<]*)<")
"""When it was made and saved last: the same in what nobody saved since. Some programs leave all
else as it is."""
PRODUCT = b"PRODID:-//wholedrum//"
LEFT_BEHIND = re.compile(r"\..+\.[0-9a-f]{12}\.part")


class HeldError(OutputError):
    """A file can't be replaced: it is open, write-protected, a folder, or not of our making."""


@contextmanager
def in_place() -> Iterator[None]:
    """Say, of files that are written beside the plan they belong to, what can be done there.

    Raises
    ------
    OutputError
        As raised inside, with another remedy.
    """
    try:
        yield
    except OutputError as error:
        instead = "copy plan.json into another folder and work on from there"
        raise OutputError(str(error).replace(ELSEWHERE, instead)) from None


def check_folder(
    folder: Path,
    names: Iterable[str] = (*WORKBOOKS, JSON, CALENDAR),
    inputs: Iterable[Path] = (),
) -> None:
    """Find out before a long run whether files could be written into a folder at its end.

    Parameters
    ----------
    inputs
        Files that are read and must stay, though wholedrum made them.

    Raises
    ------
    OutputError
        When they could not, or when an office program has an older one open.
    """
    names, inputs = tuple(names), tuple(inputs)
    made = _make(folder)
    try:
        with _telling(folder):
            probe = _temporary(folder, JSON)
            _write(probe, b"")
            probe.unlink(missing_ok=True)
        refuse_held(folder, names)
        for target in (folder / name for name in names):
            if target.exists() and any(p.exists() and target.samefile(p) for p in inputs):
                msg = f"{target} is the input itself; {ELSEWHERE}"
                raise HeldError(msg)
    finally:
        _unmake(made)


def refuse_held(folder: Path, names: Iterable[str]) -> None:
    """Refuse where an older file of one of these names can't be replaced.

    Raises
    ------
    HeldError
        When one is open in an office program, write-protected, a folder, or no file of ours.
    """
    for name in names:
        target = folder / name
        for mark in (f".~lock.{name}#", f"~${name}"):
            if (folder / mark).exists():
                msg = f"{target} seems to be open in an office program; close it"
                msg += f" (or, if it is not open, delete {mark} in that folder)"
                raise HeldError(msg)
        if target.is_dir():
            msg = f"{target} is a folder; move it away, or {ELSEWHERE}"
            raise HeldError(msg)
        if target.is_file() and not target.is_symlink():
            try:
                target.open("r+b").close()  # nothing is changed by opening it
            except OSError as error:
                raise _held(target) from error
        if target.is_file() and not is_ours(target):
            msg = f"{target} is not a file that wholedrum wrote, so it is not replaced; move it"
            msg += f" away, or {ELSEWHERE}"
            raise HeldError(msg)


def _held(target: Path) -> HeldError:
    return HeldError(
        f"{target} cannot be replaced; close it in the program that has it open, take off its"
        f" write protection, or {ELSEWHERE}"
    )


def write_together(folder: Path, content: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write several files into a folder so that either all of them are new or none is.

    Parameters
    ----------
    folder
        Made if it is missing.
    content
        Bytes by plain file name.

    Raises
    ------
    OutputError
        When that cannot be done; older files of these names stand as they stood.
    """
    for name in content:
        if name in ("", ".", "..") or Path(name).name != name or "\\" in name or ":" in name:
            msg = f"{name!r} is no plain file name"
            raise ValueError(msg)
    made = _make(folder)
    try:
        with _telling(folder), locked(folder):
            _sweep(folder)
            _replace_all(folder, content)
    except BaseException:
        _unmake(made)
        raise
    return tuple(folder / name for name in content)


def _replace_all(folder: Path, content: Mapping[str, bytes]) -> None:
    fresh: dict[str, Path] = {}
    older: dict[str, Path] = {}
    begun: list[str] = []
    try:
        for name, data in content.items():
            target = folder / name
            if target.is_dir():
                msg = f"{target} is a folder; move it away, or {ELSEWHERE}"
                raise HeldError(msg)
            rights = target.stat().st_mode & 0o777 if target.is_file() else ANY_NEW_FILE
            fresh[name] = _temporary(folder, name)
            _write(fresh[name], data, rights)
            if target.is_file():  # kept until all are in place
                older[name] = _temporary(folder, name)
                _write(older[name], target.read_bytes(), rights)
                with contextlib.suppress(OSError):
                    shutil.copystat(target, older[name])
                with contextlib.suppress(OSError):
                    shutil.copymode(target, fresh[name])
        _promise(folder, fresh)
        for name, path in fresh.items():
            begun.append(name)
            try:
                path.replace(folder / name)
            except OSError as error:
                if error.errno in HELD and os.path.lexists(folder / name):
                    raise _held(folder / name) from error
                raise
        _sync(folder)
    except BaseException:
        for name in begun:
            with contextlib.suppress(OSError):
                _put_back(folder / name, fresh[name], older.get(name))
        raise
    finally:
        for path in (folder / PROMISE, *fresh.values(), *older.values()):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)


def _put_back(target: Path, fresh: Path, older: Path | None) -> None:
    """Undo the renaming of a new file to its target, if it did happen."""
    if fresh.exists():
        return
    if older is not None:
        older.replace(target)
    else:
        target.unlink()


def _promise(folder: Path, fresh: Mapping[str, Path]) -> None:
    """Write down what is about to be renamed, so that a run killed in the middle can be finished.

    Without it only a part of the files might be new: each is renamed whole, but one by one.
    """
    part = _temporary(folder, PROMISE)
    try:
        _write(part, json.dumps({name: path.name for name, path in fresh.items()}).encode())
        part.replace(folder / PROMISE)
    finally:
        part.unlink(missing_ok=True)
    _sync(folder)


def remove_older(folder: Path, names: re.Pattern[str], keep: Iterable[str]) -> None:
    """Take away workbooks of ours with such names, but for some.

    Others' files stay, and held ones, and those that something may be typed into.

    Raises
    ------
    OutputError
        When the folder can't be written to.
    """
    with _telling(folder), locked(folder):
        for path in folder.iterdir():
            mine = names.fullmatch(path.name) and path.name not in keep and is_ours(path)
            if mine and not path.is_symlink() and not is_changed(path):
                with contextlib.suppress(OSError):
                    path.unlink()


def is_ours(path: Path) -> bool:
    """Whether wholedrum wrote a file: by a workbook's creator, a calendar's product, JSON's key."""
    try:
        if path.suffix == ".json":
            data = json.loads(path.read_bytes())
            return isinstance(data, dict) and "contract" in data
        if path.suffix == ".ics":
            return PRODUCT in path.read_bytes()
        with zipfile.ZipFile(path) as book:
            return CREATOR in book.read("docProps/core.xml")
    except (OSError, KeyError, ValueError, RecursionError, zipfile.BadZipFile):
        return False


def is_changed(path: Path) -> bool:
    """Whether something was typed into a workbook of ours since it was written.

    Not where another program just saved it; where that can't be told, something may be.
    """
    try:
        with zipfile.ZipFile(path) as book:
            core = book.read("docProps/core.xml")
    except (OSError, KeyError, ValueError, zipfile.BadZipFile):
        return False
    untouched = LAST in core and AGAIN not in core and len({*WHEN.findall(core)}) <= 1
    if CREATOR not in core or untouched:
        return False
    from planner.report.typed import is_as_written

    return not is_as_written(path)


def kept(folder: Path, names: Iterable[str]) -> dict[str, bytes]:
    """Workbooks about to be replaced that were changed since: under a free name each, to be kept.

    What was typed into them (records, weights, initials) is nowhere else.
    """
    found: dict[str, bytes] = {}
    for path in (folder / name for name in names):
        if path.suffix == ".xlsx" and path.is_file() and is_changed(path):
            found |= kept_copy(path)
    return found


def kept_copy(path: Path) -> dict[str, bytes]:
    """A workbook under a free name beside it, to be kept."""
    return {_free_name(path.parent, path.name): path.read_bytes()}


def put_aside(path: Path) -> tuple[Path, ...]:
    """Rename a workbook of an older plan to a free name, to be kept; none where it is held."""
    if not path.is_file():
        return ()
    try:
        refuse_held(path.parent, [path.name])
        other = path.with_name(_free_name(path.parent, path.name))
        path.rename(other)
    except (HeldError, OSError):
        return ()
    return (other,)


def was_kept(path: str) -> bool:
    """Whether a file's name is one that `kept` gives.

    >>> was_kept("plan/shop (kept).xlsx"), was_kept("shop (kept 2).xlsx"), was_kept("shop.xlsx")
    (True, True, False)
    """
    return re.search(rf" \({KEPT}(?: \d+)?\)\.xlsx$", path) is not None


def _free_name(folder: Path, name: str) -> str:
    stem = Path(name).stem
    tried = (f"{stem} ({KEPT}{f' {n}' if n > 1 else ''}).xlsx" for n in itertools.count(1))
    return next(other for other in tried if not os.path.lexists(folder / other))


def settle(folder: Path) -> None:
    """Finish what a run that was killed while renaming had begun; nothing to do otherwise.

    Every command that reads or writes a plan does this first.

    Raises
    ------
    OutputError
        When the folder can't be written to.
    """
    if (folder / PROMISE).exists():
        with _telling(folder), locked(folder):
            _sweep(folder)


def _sweep(folder: Path) -> None:
    """Finish and take away what a killed run left; nobody else writes now."""
    with contextlib.suppress(OSError, ValueError, AttributeError, TypeError, RecursionError):
        for name, part in json.loads((folder / PROMISE).read_bytes()).items():
            plain = Path(name).name == name and Path(part).name == part
            if plain and LEFT_BEHIND.fullmatch(part) and (folder / part).exists():
                (folder / part).replace(folder / name)
    for path in folder.iterdir():
        if path.name == PROMISE or LEFT_BEHIND.fullmatch(path.name):
            with contextlib.suppress(OSError):
                path.unlink()


def _temporary(folder: Path, name: str) -> Path:
    return folder / f".{name}.{secrets.token_hex(6)}.part"


def _write(path: Path, data: bytes, rights: int = ANY_NEW_FILE) -> None:
    """Write a new file to the disk, from its beginning with no more rights than these."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    handle = os.open(path, flags | getattr(os, "O_NOFOLLOW", 0), rights)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
    except BaseException:
        with contextlib.suppress(OSError):
            path.unlink()
        raise


def _sync(folder: Path) -> None:
    """Bring the new names to the disk, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _make(folder: Path) -> list[Path]:
    """Make a folder; return those that were missing, outermost first."""
    missing = []
    place = folder
    while not place.exists() and place != place.parent:
        missing.append(place)
        place = place.parent
    with _telling(folder):
        folder.mkdir(parents=True, exist_ok=True)
    return missing[::-1]


def _unmake(made: list[Path]) -> None:
    for place in reversed(made):
        with contextlib.suppress(OSError):
            place.rmdir()


@contextmanager
def _telling(folder: Path) -> Iterator[None]:
    """Turn the system's errors into sentences that say what to do."""
    try:
        yield
    except OSError as error:
        raise OutputError(_sentence(folder, error)) from error


def _sentence(folder: Path, error: OSError) -> str:
    named = error.filename2 or error.filename
    place = Path(os.fsdecode(named)) if isinstance(named, str | bytes) else folder
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"the disk of {folder} is full; nothing was changed there; free some space"
    if error.errno == errno.EROFS:
        return f"{folder} is on a disk that can only be read; {ELSEWHERE}"
    if error.errno in (errno.EACCES, errno.EPERM):
        if place.is_file() and os.access(folder, os.W_OK):
            return f"{place} cannot be replaced; close it in the program that has it open"
        return f"no right to write into {folder}; {ELSEWHERE}"
    if error.errno in (errno.EEXIST, errno.ENOTDIR):
        return f"{place} is a file, not a folder; {ELSEWHERE}"
    if error.errno == errno.ENOENT:
        return f"{folder} is gone; {ELSEWHERE}"
    if error.errno == errno.ENAMETOOLONG:
        return f"the path {folder} is too long; {ELSEWHERE}"
    reason = error.strerror or type(error).__name__
    return f"{folder} cannot be written ({reason}); {ELSEWHERE}"
