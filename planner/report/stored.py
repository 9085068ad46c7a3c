"""Results stored beside formulas, for viewers that show a workbook without calculating it."""

from __future__ import annotations

import io
import re
import zipfile
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    from collections.abc import Mapping

FORMULA_CELL = re.compile(rb'<c r="([A-Z]+[0-9]+)"([^>]*)>(<f>.*?</f>)<v\s*(?:/>|></v>)', re.DOTALL)


def store_results(content: bytes, results: Mapping[int, Mapping[str, float | str]]) -> bytes:
    """Put results into the formula cells of a workbook.

    Parameters
    ----------
    content
        The workbook, as its writer left it: formulas without results.
    results
        By number of the sheet, from 1, and by address.

    Raises
    ------
    ValueError
        When a result has no formula cell to go to.
    """
    if not results:
        return content
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for item in old.infolist():
            data = old.read(item)
            found = re.fullmatch(r"xl/worksheets/sheet(\d+)\.xml", item.filename)
            if found and int(found[1]) in results:
                data = _with_results(data, results[int(found[1])])
            new.writestr(item, data)
    return out.getvalue()


def _with_results(sheet: bytes, results: Mapping[str, float | str]) -> bytes:
    stored = set()

    def put(found: re.Match[bytes]) -> bytes:
        address = found[1].decode()
        if address not in results:
            return found[0]
        stored.add(address)
        value = results[address]
        kind = b' t="str"' if isinstance(value, str) else b""
        attributes = re.sub(rb' t="[a-z]+"', b"", found[2]) + kind
        text = escape(value) if isinstance(value, str) else repr(float(value))
        return b'<c r="%b"%b>%b<v>%b</v>' % (found[1], attributes, found[3], text.encode())

    sheet = FORMULA_CELL.sub(put, sheet)
    if stored != set(results):
        msg = f"no formula to store a result with: {sorted(set(results) - stored)[:5]}"
        raise ValueError(msg)
    return sheet
