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
from pathlib import Path

from planner.terminal.places import plan_folder

STORE = ".wholedrum-page"
SEASON = "season.xlsx"
ABOUT = "about.json"
KINDS = (".xlsx", ".xlsm")
MOST_NAME = 60
"""Letters of a name that are kept."""
MOST_LISTED = 40
"""Seasons of the folder that the first page lists, the last changed first."""
HELPERS = re.compile(r"^(~\$|\.)|-faults$|^(plan|campaign|compare)( \(\d+\))?$", re.IGNORECASE)
"""Names of workbooks, without what follows the point, that are no seasons."""


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


def clean_name(name: str) -> str:
    r"""Name for people from whatever a browser sends: the last part, printable, not too long.

    >>> clean_name("../../etc/pass\x00wd.xlsx"), clean_name("..\\..\\Marten Hill 2027.xlsx")
    ('passwd', 'Marten Hill 2027')
    >>> clean_name("<script>.xlsx"), clean_name(".xlsx")
    ('script', 'season')
    """
    last = re.split(r"[/\\]", name)[-1]
    stem = re.sub(r"\.xls[xm]$", "", last, flags=re.IGNORECASE)
    kept = "".join(c for c in stem if c.isprintable() and c not in '<>:"|?*%&;{}`$')
    return " ".join(kept.split())[:MOST_NAME].strip(" .") or "season"


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
        return sorted(found, key=lambda e: -e.changed)[:MOST_LISTED]

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
        """Keep a workbook that was dropped. A name that is kept already is replaced.

        Raises
        ------
        OSError
            When it cannot be written.
        """
        key, folder = self._place(clean_name(name))
        part = folder / (SEASON + ".part")
        part.write_bytes(content)
        part.replace(folder / SEASON)
        return self._enter(key, clean_name(name))

    def place(self, name: str) -> tuple[str, Path]:
        """Make room for a workbook of ours: its id, and where to write it."""
        key, folder = self._place(name)
        return key, folder / SEASON

    def enter(self, key: str, name: str) -> Entry:
        """Take up what was written to a `place`."""
        return self._enter(key, name)

    def forget(self, entry: Entry) -> None:
        """Delete a copy of ours and its plan; a season of the folder stays."""
        if entry.kept:
            shutil.rmtree(self._store / entry.key, ignore_errors=True)
        with self._lock:
            self._entries.pop(entry.key, None)

    def _place(self, name: str) -> tuple[str, Path]:
        for entry in self._kept():
            if entry.name == name:
                return entry.key, entry.path.parent
        key = secrets.token_hex(6)
        folder = self._store / key
        folder.mkdir(parents=True)
        return key, folder

    def _enter(self, key: str, name: str) -> Entry:
        folder = self._store / key
        (folder / ABOUT).write_text(json.dumps({"name": name}), "utf-8")
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
            workbook = path.suffix.casefold() in KINDS and path.is_file()
            csv = path.is_dir() and (path / "farm.csv").is_file()
            if (workbook or csv) and not HELPERS.search(path.stem):
                key = hashlib.sha256(str(path.resolve()).encode("utf-8", "surrogatepass"))
                name = clean_name(path.name)
                found.append(Entry(key.hexdigest()[:12], name, path, plan_folder(path), False))
        return found


def _name(folder: Path) -> str:
    try:
        said = json.loads((folder / ABOUT).read_text("utf-8"))["name"]
    except (OSError, ValueError, KeyError, TypeError):
        return "season"
    return clean_name(str(said))


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
