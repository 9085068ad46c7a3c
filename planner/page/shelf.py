"""Seasons that the page knows: those in the folder, and copies of what was dropped on it.

A season has an id; paths never come from a browser. What was dropped is kept under a name of ours
in `STORE` inside the folder, with the name that it came with beside it as plain text.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import shutil
import tempfile
import threading
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from planner.many.found import is_season
from planner.terminal.places import plan_folder

if TYPE_CHECKING:
    from collections.abc import Iterator

STORE = ".wholedrum-page"
SEASON = "season.xlsx"
ABOUT = "about.json"
MOST_NAME = 60
"""Letters of a name that are kept."""
MOST_LISTED = 200
"""Seasons that the first page lists, the last changed first."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One season."""

    key: str
    """What is in addresses."""
    name: str
    """As people know it, cleaned."""
    path: Path
    plans: Path
    """Folder of its plan."""
    kept: bool
    """Whether the page holds a copy of its own."""

    @property
    def changed(self) -> float:
        """When the season was last changed, seconds since 1970; 0 if it is gone."""
        try:
            return self.path.stat().st_mtime
        except OSError:
            return 0.0


def clean_name(name: str, most: int = MOST_NAME) -> str:
    r"""Name for people from whatever a browser sends: the last part, printable, not too long.

    >>> clean_name("../../etc/pass\x00wd.xlsx"), clean_name("..\\..\\Marten Hill 2027.xlsx")
    ('passwd', 'Marten Hill 2027')
    >>> clean_name("<script>.xlsx"), clean_name(".xlsx")
    ('script', 'season')
    """
    stem = re.sub(r"\.xls[xm]$", "", _last(name), flags=re.IGNORECASE)
    kept = "".join(c for c in stem if c.isprintable() and c not in '<>:"|?*%;{}`$')
    return " ".join(kept.split())[:most].strip(" .") or "season"


def _last(name: str) -> str:
    return re.split(r"[/\\]", name)[-1]


class Shelf:
    """All seasons by id. Safe to use from several threads."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._entries: dict[str, Entry] = {}
        self._store, self.lasting = _store(folder)

    def listed(self) -> list[Entry]:
        """Seasons to choose from, the last changed first."""
        found = [*self._kept(), *self._in_folder()]
        with self._lock:
            self._entries |= {entry.key: entry for entry in found}
        return sorted(found, key=lambda e: -e.changed)

    def get(self, key: str) -> Entry | None:
        """Season of an id; None if there is none, or it is gone."""
        with self._lock:
            entry = self._entries.get(key)
        if entry is None:
            self.listed()
            with self._lock:
                entry = self._entries.get(key)
        return entry if entry is not None and entry.path.exists() else None

    def keep(self, name: str, content: bytes) -> Entry:
        """Keep a workbook that was dropped; `name` is as it came. The same name replaces it.

        Another name that reads the same once it is cleaned gets a number.

        Raises
        ------
        OSError
            When it cannot be written.
        """
        came_as = hashlib.sha256(_last(name).encode("utf-8", "surrogatepass")).hexdigest()
        key, folder, shown = self._place(clean_name(name), came_as)
        part = folder / (SEASON + ".part")
        try:
            part.write_bytes(content)
            part.replace(folder / SEASON)
        except OSError:
            self.take_back(key)
            raise
        return self._enter(key, shown, came_as)

    def place(self, name: str) -> tuple[str, Path, str]:
        """Make room for a workbook of ours: its id, where to write it, the name it is shown by."""
        key, folder, shown = self._place(name, "")
        return key, folder / SEASON, shown

    def take_back(self, key: str) -> None:
        """Clear what could not be written; a season that is there stays."""
        folder = self._store / key
        (folder / (SEASON + ".part")).unlink(missing_ok=True)
        if not (folder / SEASON).exists():
            shutil.rmtree(folder, ignore_errors=True)

    def enter(self, key: str, name: str) -> Entry:
        """Take up what was written to a `place`."""
        return self._enter(key, name, "")

    def forget(self, entry: Entry) -> None:
        """Delete a copy of ours and its plan; a season of the folder stays."""
        if entry.kept:
            shutil.rmtree(self._store / entry.key, ignore_errors=True)
        with self._lock:
            self._entries.pop(entry.key, None)

    def _place(self, name: str, came_as: str) -> tuple[str, Path, str]:
        """Id, folder and shown name of what came under a name: numbered where another has it."""
        kept = {entry.name: entry for entry in self._kept()}
        for shown in _numbered(name):
            entry = kept.get(shown)
            if entry is None:
                break
            if _about(entry.path.parent).get("came as", came_as) == came_as:
                return entry.key, entry.path.parent, shown
        key = secrets.token_hex(6)
        folder = self._store / key
        folder.mkdir(parents=True)
        return key, folder, shown

    def _enter(self, key: str, name: str, came_as: str) -> Entry:
        folder = self._store / key
        about = json.dumps({"name": name, "came as": came_as})
        (folder / ABOUT).write_text(about, "utf-8")
        entry = Entry(key, name, folder / SEASON, folder / "plan", kept=True)
        with self._lock:
            self._entries[key] = entry
        return entry

    def _kept(self) -> list[Entry]:
        found = []
        for folder in self._store.iterdir() if self._store.is_dir() else ():
            if not re.fullmatch(r"[0-9a-f]{12}", folder.name) or not (folder / SEASON).is_file():
                continue
            found.append(Entry(folder.name, _name(folder), folder / SEASON, folder / "plan", True))
        return found

    def _in_folder(self) -> list[Entry]:
        try:
            files = list(self.folder.iterdir())
        except OSError:
            return []
        found = []
        for path in files:
            if is_season(path):
                key = hashlib.sha256(str(path.resolve()).encode("utf-8", "surrogatepass"))
                name = clean_name(path.name, len(path.name))
                found.append(Entry(key.hexdigest()[:12], name, path, plan_folder(path), False))
        return found


def _numbered(name: str) -> Iterator[str]:
    """A name, then with numbers.

    >>> names = _numbered("North 2027")
    >>> next(names), next(names)
    ('North 2027', 'North 2027 (2)')
    """
    yield name
    for number in count(2):
        end = f" ({number})"
        yield f"{name[: MOST_NAME - len(end)].strip(' .')}{end}"


def _about(folder: Path) -> dict[str, object]:
    """What was noted of a kept season; nothing where that cannot be read."""
    try:
        said = json.loads((folder / ABOUT).read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return said if isinstance(said, dict) else {}


def _name(folder: Path) -> str:
    return clean_name(str(_about(folder).get("name", "season")))


def _store(folder: Path) -> tuple[Path, bool]:
    """Where copies are kept, and whether they are still there after the page has ended."""
    store = folder / STORE
    try:
        store.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=store):
            pass
    except OSError:
        return Path(tempfile.mkdtemp(prefix="wholedrum-")), False
    return store, True
