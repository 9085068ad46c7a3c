"""A copy of the input with its faults marked, the input itself untouched."""

import csv
import zipfile
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest

from planner.errors import Fault, OutputError
from planner.form.mark import mark_faults
from planner.form.template import (
    write_blank,
)
from planner.season.read import read_season
from tests.support.hostile import parts


class TestMark:
    FAULTS = (
        Fault("seed lots", 5, "Units on hand", "many", "a number", "write 160", "E5"),
        Fault("Seed lots", 5, "Units on hand", "many", "a unit", "", "E5"),
        Fault("Suppliers", 0, "", "", "a sheet", "add it"),
    )

    def test_the_copy_is_marked_and_the_original_untouched(
        self, blank: Path, tmp_path: Path
    ) -> None:
        before = blank.read_bytes()
        path = mark_faults(blank, self.FAULTS, tmp_path / "marked.xlsx")
        assert blank.read_bytes() == before
        book = openpyxl.load_workbook(path)
        assert book.sheetnames[0] == "Faults"
        cell = book["Seed lots"]["E5"]
        assert cell.comment is not None
        assert "Write 160." in cell.comment.text
        assert "a unit" in cell.comment.text
        assert cell.border.left.style == "thick"
        listed = [row for row in book["Faults"].iter_rows(min_row=2, values_only=True) if row[0]]
        assert len(listed) == 3
        links = [c.hyperlink.location for c in book["Faults"]["A"] if c.hyperlink]
        assert links == ["'Seed lots'!E5"] * 2

    @pytest.mark.slow
    def test_a_marked_copy_can_be_mended_and_read(self, tmp_path: Path) -> None:
        demo = write_blank(tmp_path / "demo.xlsx", demo=True)
        marked = mark_faults(demo, self.FAULTS, tmp_path / "marked.xlsx")
        first, second = read_season(demo), read_season(marked)
        assert replace(second, source=first.source) == first

    def test_a_folder_gets_a_list(self, tiny: Path, tmp_path: Path) -> None:
        path = mark_faults(tiny, self.FAULTS, tmp_path / "season-faults.csv")
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.reader(file))
        assert len(rows) == 4
        assert {row[3] for row in rows[1:]} == {"many", ""}

    def test_never_over_the_original(self, blank: Path) -> None:
        with pytest.raises(OutputError, match="overwrite"):
            mark_faults(blank, self.FAULTS, blank)

    def test_a_zip_bomb_is_not_opened(self, tmp_path: Path) -> None:
        source = tmp_path / "bomb.xlsx"
        with zipfile.ZipFile(source, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            archive.writestr("[Content_Types].xml", "<Types/>")
            archive.writestr("xl/worksheets/sheet1.xml", b"0" * 200_000_000)
        with pytest.raises(OutputError, match="not open as a workbook"):
            mark_faults(source, self.FAULTS, tmp_path / "marked.xlsx")

    def test_a_merge_over_half_a_sheet_is_not_copied_cell_by_cell(self, tmp_path: Path) -> None:
        """The reader passes over merges; a copy would hold each of 1,048,576 cells."""

        def change(name: str, data: bytes) -> bytes:
            merged = b'</sheetData><mergeCells><mergeCell ref="A9:XFD72"/></mergeCells>'
            wanted = name == "xl/worksheets/sheet2.xml"
            return data.replace(b"</sheetData>", merged) if wanted else data

        source = parts(tmp_path / "merged.xlsx", change)
        assert read_season(source).fields
        with pytest.raises(OutputError, match="over 500,000 cells"):
            mark_faults(source, self.FAULTS, tmp_path / "marked.xlsx")

    def test_what_is_no_workbook_is_told(self, tmp_path: Path) -> None:
        source = tmp_path / "old.xlsx"
        source.write_bytes(b"\xd0\xcf\x11\xe0" + b"0" * 100)
        with pytest.raises(OutputError, match="not open as a workbook"):
            mark_faults(source, self.FAULTS, tmp_path / "marked.xlsx")
