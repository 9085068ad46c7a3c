"""Saving a workbook in memory: openpyxl itself puts every sheet into a temporary file first."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime
from typing import Any

from openpyxl.drawing.spreadsheet_drawing import SpreadsheetDrawing
from openpyxl.worksheet._writer import WorksheetWriter
from openpyxl.writer.excel import ExcelWriter


class _InMemory(ExcelWriter):
    """Writes as openpyxl does, but nothing that could fill a temporary folder or stay there."""

    _archive: Any
    manifest: Any

    def write_worksheet(self, ws: Any) -> None:
        """Write a sheet into the archive; stands for openpyxl's own method of this name."""
        ws._drawing = SpreadsheetDrawing()
        ws._drawing.charts, ws._drawing.images = ws._charts, ws._images
        writer: Any = WorksheetWriter(ws, io.BytesIO())
        writer.write()
        ws._rels = writer._rels
        self._archive.writestr(ws.path[1:], writer.out.getvalue())
        self.manifest.append(ws)


def saved(workbook: Any) -> bytes:
    """A workbook as it is in a file."""
    out = io.BytesIO()
    workbook.properties.modified = datetime.now(tz=UTC).replace(tzinfo=None)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        _InMemory(workbook, archive).write_data()
    return out.getvalue()
