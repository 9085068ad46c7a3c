"""Names and other words from the input: when two are the same, when they only look so."""

from __future__ import annotations

import difflib
import re
import unicodedata
from functools import lru_cache
from itertools import islice, takewhile
from typing import TYPE_CHECKING

from planner.units import refuse

if TYPE_CHECKING:
    from collections.abc import Iterable

MOST_LETTERS = 200
"""Longest name or text that is read."""
MOST_COMPARED = 500
"""Most names that a misspelled one is compared with."""
SHOWN_LETTERS = 60
"""Longest piece of a cell that a fault shows."""
FILE_LETTERS = 40
"""Longest piece of a name that a file is named after."""

LEAST_LETTERS, LEAST_REPLACED = 3, 4
"""Letters from which a word may be a mistyped one; and one of which a letter is another."""
_WORD = re.compile(r"\d+(?:[.,/]\d+)*|[^\W\d_]+|[^\w\s\-'.,]")
_ROMAN = re.compile(r"[ivx]+$")
_INVISIBLE = dict.fromkeys((0x00AD, 0x200B, 0x200E, 0x200F, 0x2060, 0xFEFF))
"""Marks that are dropped: soft hyphen, zero-width space, direction marks, joiner, byte order."""
_TURNING = frozenset(map(chr, (*range(0x202A, 0x202F), *range(0x2066, 0x206A))))
"""Marks that make text show in another order than it has; refused."""
_LOOKS = str.maketrans(
    "аеорсухіјѕԁһԛԝвкмнтАВЕКМНОРСТУХІЈЅαβεικνορτυχΑΒΕΖΗΙΚΜΝΟΡΤΥΧ‐‑‒–—−",
    "aeopcyxijsdhqwbkmhtabekmhopctyxijsabeiknoptuxabezhikmnoptyx------",
)
"""Cyrillic and Greek letters, and dashes, that look like others."""


def tidy(text: str) -> str:
    r"""Text as it is kept: composed, without invisible marks, each run of spaces as one.

    >>> tidy("  North\u00a0 80 ")
    'North 80'
    """
    if not text.isascii():
        text = unicodedata.normalize("NFC", text).translate(_INVISIBLE)
    return " ".join(text.split())


def key(text: str) -> str:
    """What two spellings of one name have in common: tidy, without regard to case."""
    return _key(text) if len(text) <= MOST_LETTERS else tidy(text).casefold()


@lru_cache(maxsize=65536)
def _key(text: str) -> str:
    return tidy(text).casefold()


def for_file(name: str) -> str:
    """Plain letters of a name, for that of a file: nothing else of it, and no more than fit there.

    >>> for_file("../North + Sons.xlsx"), for_file("大豆")
    ('north-sons-xlsx', '')
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower())[:FILE_LETTERS].strip("-")


def look(text: str) -> str:
    """What two names that look alike have in common, though their letters differ."""
    if text.isascii():
        return key(text)
    plain = unicodedata.normalize("NFKC", tidy(text)).translate(_LOOKS)
    return " ".join(plain.casefold().split())


def nearest(text: str, names: Iterable[str], cutoff: float = 0.6) -> str:
    """Name that is nearest to a text; empty if none is near.

    >>> nearest("Nort 80", ["South 40", "North 80"])
    'North 80'
    """
    by_key = {key(name): name for name in islice(names, MOST_COMPARED)}
    found = difflib.get_close_matches(key(text)[:SHOWN_LETTERS], by_key, 1, cutoff)
    if found:
        return by_key[found[0]]
    return next((name for name in by_key.values() if look(name) == look(text)), "")


def near(text: str, names: Iterable[str]) -> str:
    """Remedy that names the nearest of several names; empty if none is near."""
    found = nearest(text, names)
    return f"nearest: '{shown(found)}'" if found else ""


def is_slip(one: str, other: str) -> bool:
    """Whether two names look like one that was mistyped: a letter, a space or a hyphen apart.

    Numbers and signs tell names apart, and so do short words, as in a row of names.

    >>> is_slip("Base", "Bsae"), is_slip("Early pay", "Early-pay"), is_slip("Jug", "Jugs")
    (True, True, True)
    >>> is_slip("Drum 15 gal", "Drum 30 gal"), is_slip("Recipe A", "Recipe B")
    (False, False)
    >>> is_slip("Full", "Full +"), is_slip("Mix VII", "Mix VIII"), is_slip("Home", "home")
    (False, False, False)
    """
    if key(one) == key(other):
        return False
    a, b = (_WORD.findall(look(name)) for name in (one, other))
    if "".join(a) == "".join(b):  # all that is put between words apart
        return [w for w in a if not w.isalpha()] == [w for w in b if not w.isalpha()]
    pairs = [(x, y) for x, y in zip(a, b, strict=False) if x != y]
    return len(a) == len(b) and len(pairs) == 1 and _is_mistyped(*pairs[0])


def _is_mistyped(one: str, other: str) -> bool:
    """Whether two words differ by a letter too many, another one, or two that changed places."""
    if not (one.isalpha() and other.isalpha()) or (_ROMAN.match(one) and _ROMAN.match(other)):
        return False
    start = _alike(one, other)
    a, b = one[start:], other[start:]
    end = _alike(a[::-1], b[::-1])
    a, b = a[: len(a) - end], b[: len(b) - end]
    swapped = len(a) == 2 and a == b[::-1]
    replaced = len(a) == len(b) == 1
    short = min(len(one), len(other)) < (LEAST_REPLACED if replaced else LEAST_LETTERS)
    return not short and (swapped or replaced or len(a) + len(b) == 1)


def _alike(one: str, other: str) -> int:
    """How many letters two texts begin with alike."""
    same = takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False))
    return sum(1 for _ in same)


def words(text: str) -> str:
    """Tidy text of a cell that holds a name or other words.

    Raises
    ------
    Unreadable
        When it is too long or holds characters that cannot be shown.
    """
    kept = tidy(text)
    if len(kept) > MOST_LETTERS:
        refuse(f"at most {MOST_LETTERS} characters", f"shorten it by {len(kept) - MOST_LETTERS}")
    if not kept.isprintable():
        odd = next(c for c in kept if not c.isprintable())
        if odd in _TURNING or unicodedata.category(odd) in ("Cc", "Cs", "Co", "Cn"):
            refuse("visible characters only", f"retype it without character U+{ord(odd):04X}")
    return kept


def printable(text: str) -> str:
    """Text with a mark in place of every character that cannot be printed."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def shown(text: str) -> str:
    """Piece of a cell as a fault shows it: short, on one line, nothing invisible."""
    kept = printable(" ".join(text[: SHOWN_LETTERS * 4].split()))
    return kept if len(kept) <= SHOWN_LETTERS else kept[: SHOWN_LETTERS - 1] + "…"
