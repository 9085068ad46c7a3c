"""Inputs that are broken, odd or meant to do harm: what made the files of the corpus.

    python -m tests.support.hostile

makes `corpus` again, one file a case: in `workbook` what is handed over as it stands; in `csv` a
table of fields that takes the place of `fields.csv` among the good files of `inputs`, or a folder
with all files of a season. `corpus/cases.csv` says of each case how reading must end: refused, with
words that the refusal must hold, or taken. Once made, the files are the corpus: another version of
openpyxl writes other bytes. What is over 100 kB, or can't be kept, is built each time: `BUILT`.
"""

from __future__ import annotations

import csv
import re
import shutil
import struct
import tempfile
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from tests.support import inputs
from tests.support.inputs import folder, good, put

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

CORPUS = Path(__file__).parents[1] / "corpus"

NS = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
LAUGHS = (
    '<!DOCTYPE x [<!ENTITY a "ha">'
    + "".join(
        f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True)
    )
    + "]>"
)
OUTSIDE = '<!DOCTYPE x [<!ENTITY i SYSTEM "file:///etc/hostname">]>'


def raw(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def pack(path: Path, contents: Iterable[tuple[str, bytes | str]]) -> Path:
    """A zip whose bytes are the same on every run."""
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in contents:
            info = zipfile.ZipInfo(name, (2027, 1, 1, 0, 0, 0))
            archive.writestr(info, data, zipfile.ZIP_DEFLATED)
    return path


def unpacked(path: Path) -> list[tuple[str, bytes]]:
    """Parts of a workbook, without the time at which it was written."""
    with zipfile.ZipFile(path) as archive:
        found = [(info.filename, archive.read(info)) for info in archive.infolist()]
    return [
        (name, re.sub(rb">\d{4}-\d\d-\d\dT[\d:]+Z<", b">2027-01-01T00:00:00Z<", data))
        if name == "docProps/core.xml"
        else (name, data)
        for name, data in found
    ]


def workbook(path: Path, sheets: inputs.Sheets) -> Path:
    """The sheets as a workbook."""
    return pack(path, unpacked(inputs.workbook(path, sheets)))


def parts(path: Path, change: Callable[[str, bytes], bytes | None], extra=()) -> Path:
    """The good workbook with its parts changed; None leaves a part out."""
    changed = [(name, change(name, d)) for name, d in unpacked(inputs.workbook(path, good()))]
    return pack(path, [*((name, data) for name, data in changed if data is not None), *extra])


def fields_xml(path: Path, rows: str) -> Path:
    """The good workbook with the XML of its sheet Fields replaced."""
    xml = f'<?xml version="1.0"?><worksheet {NS}><sheetData>{rows}</sheetData></worksheet>'

    def change(name: str, data: bytes) -> bytes:
        return xml.encode() if name == "xl/worksheets/sheet2.xml" else data

    return parts(path, change)


def cell(ref: str, text: str) -> str:
    return f'<c r="{ref}" t="inlineStr"><is><t>{text}</t></is></c>'


FIELDS_HEAD = (
    f'<row r="1">{cell("A1", "Field")}{cell("B1", "Acres")}{cell("C1", "Seeding rate")}</row>'
)
CREEK = f'{cell("A2", "Creek")}<c r="B2"><v>80</v></c><c r="C2"><v>140000</v></c>'
FIELDS = f'{FIELDS_HEAD}<row r="2">{CREEK}</row>'


# --- files that are no workbook


def empty(path: Path) -> Path:
    return raw(path / "empty.xlsx", b"")


def text_as_workbook(path: Path) -> Path:
    return raw(path / "text.xlsx", b"Field,Acres\nHome,80\n")


def old_or_locked(path: Path) -> Path:
    return raw(path / "old.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))


def single_csv(path: Path) -> Path:
    return raw(path / "fields.csv", b"Field,Acres\nHome,80\n")


def truncated(path: Path) -> Path:
    whole = workbook(path / "whole.xlsx", good()).read_bytes()
    return raw(path / "truncated.xlsx", whole[: len(whole) // 2])


def head_only(path: Path) -> Path:
    return raw(path / "head.xlsx", b"PK\x03\x04")


def other_zip(path: Path) -> Path:
    return pack(path / "other.xlsx", [("photo.txt", "nothing to see")])


def opendocument(path: Path) -> Path:
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    return pack(path / "season.ods", [("mimetype", kind), ("content.xml", "<x/>")])


def binary_workbook(path: Path) -> Path:
    inside = [("[Content_Types].xml", "<x/>"), ("xl/workbook.bin", b"\0")]
    return pack(path / "season.xlsb", inside)


def zip_with_password(path: Path) -> Path:
    data = bytearray(workbook(path / "whole.xlsx", good()).read_bytes())
    at = 0
    while (at := data.find(b"PK\x01\x02", at)) >= 0:
        data[at + 8] |= 1
        at += 4
    return raw(path / "locked.xlsx", bytes(data))


def flipped_bytes(path: Path) -> Path:
    data = bytearray(workbook(path / "whole.xlsx", good()).read_bytes())
    for at in range(60, 1500, 7):
        data[at] ^= 0x5A
    return raw(path / "flipped.xlsx", bytes(data))


# --- workbooks that unpack to too much


def bomb(path: Path) -> Path:
    """About 300 kB that unpack to 300 MB."""
    target = path / "bomb.xlsx"

    def change(name: str, data: bytes) -> bytes:
        return (
            data.replace(b"</worksheet>", b" " * 300_000_000 + b"</worksheet>")
            if (name == "xl/worksheets/sheet2.xml")
            else data
        )

    return parts(target, change)


def small_bomb(path: Path) -> Path:
    """Under the limit in bytes, not in its ratio."""
    return parts(
        path / "ratio.xlsx", lambda _, data: data, [("xl/media/image1.bin", bytes(60_000_000))]
    )


def lying_size(path: Path) -> Path:
    """A part whose header says that it is small."""
    whole = parts(
        path / "lying.xlsx", lambda _, data: data, [("xl/extra.xml", b"<x/>" + b" " * 9_000_000)]
    )
    data = bytearray(whole.read_bytes())
    size = struct.pack("<L", 9_000_004)
    while size in data:
        at = data.index(size)
        data[at : at + 4] = struct.pack("<L", 100)
    return raw(whole, bytes(data))


def many_parts(path: Path) -> Path:
    extra = [(f"xl/extra/{i}.bin", b"") for i in range(2_500)]
    return parts(path / "parts.xlsx", lambda _, data: data, extra)


# --- XML that does more than hold a table


def with_entities(part: str, doctype: str) -> Callable[[Path], Path]:
    def build(path: Path) -> Path:
        def change(name: str, data: bytes) -> bytes:
            if name != part:
                return data
            at = data.index(b"?>") + 2 if data.startswith(b"<?xml") else 0
            return data[:at] + doctype.encode() + data[at:]

        return parts(path / "entities.xlsx", change)

    return build


def under_another_name(path: Path) -> Path:
    """Entities in a sheet whose part is not named as XML is."""
    sheet = f"{LAUGHS}<worksheet {NS}><sheetData>{FIELDS}</sheetData></worksheet>"

    def change(name: str, data: bytes) -> bytes:
        return (
            data.replace(b"sheet2.xml", b"sheet2.dat")
            if name.endswith((".rels", "].xml"))
            else data
        )

    return parts(path / "dat.xlsx", change, [("xl/worksheets/sheet2.dat", sheet)])


def utf16_part(path: Path) -> Path:
    def change(name: str, data: bytes) -> bytes:
        return data.decode().encode("utf-16") if name == "xl/workbook.xml" else data

    return parts(path / "utf16.xlsx", change)


def deep_xml(path: Path) -> Path:
    return fields_xml(path / "deep.xlsx", FIELDS + "<x>" * 100_000 + "</x>" * 100_000)


def no_styles(path: Path) -> Path:
    return parts(path / "nostyles.xlsx", lambda n, d: None if n == "xl/styles.xml" else d)


def no_sheet_part(path: Path) -> Path:
    return parts(path / "nosheet.xlsx", lambda n, d: None if n.endswith("sheet2.xml") else d)


def bad_string_number(path: Path) -> Path:
    return fields_xml(path / "strings.xlsx", '<row r="1"><c r="A1" t="s"><v>999999</v></c></row>')


def bad_style_number(path: Path) -> Path:
    row = '<row r="3"><c r="A3" s="9999"><v>1</v></c></row>'
    return fields_xml(path / "styles.xlsx", FIELDS + row)


def bad_named_style(path: Path) -> Path:
    """A named style whose format is not there: openpyxl prints that."""

    def change(name: str, data: bytes) -> bytes:
        return data.replace(b'xfId="0"', b'xfId="7"') if name == "xl/styles.xml" else data

    return parts(path / "named.xlsx", change)


def bad_row_number(path: Path) -> Path:
    return fields_xml(
        path / "rows.xlsx", FIELDS + '<row r="minus one"><c r="A3"><v>1</v></c></row>'
    )


def bad_cell_name(path: Path) -> Path:
    return fields_xml(path / "names.xlsx", FIELDS + '<row r="3"><c r="ZZZZZZ3"><v>1</v></c></row>')


def far_row(path: Path) -> Path:
    """A cell so far down that the rows between would never end."""
    return fields_xml(path / "far.xlsx", FIELDS + '<row r="99999999999"><c><v>1</v></c></row>')


def nan_in_xml(path: Path) -> Path:
    return fields_xml(path / "nan.xlsx", FIELDS.replace("<v>80</v>", "<v>NaN</v>"))


def infinite_in_xml(path: Path) -> Path:
    return fields_xml(path / "inf.xlsx", FIELDS.replace("<v>80</v>", "<v>1e999</v>"))


def long_number(path: Path) -> Path:
    return fields_xml(path / "long.xlsx", FIELDS.replace("<v>80</v>", f"<v>{'9' * 400}</v>"))


def error_cell(path: Path) -> Path:
    return fields_xml(
        path / "error.xlsx", FIELDS.replace('<c r="B2"><v>80</v>', '<c r="B2" t="e"><v>#N/A</v>')
    )


def formula_without_result(path: Path) -> Path:
    return fields_xml(path / "formula.xlsx", FIELDS.replace("<v>80</v>", "<f>40*2</f><v></v>"))


def formula_row_without_result(path: Path) -> Path:
    """A row that holds formulas only, none ever calculated, must not be passed over."""
    row = '<row r="3"><c r="A3"><f>Farm!A1</f></c><c r="B3"><f>40*2</f></c></row>'
    return fields_xml(path / "formulas.xlsx", FIELDS + row)


def header_without_result(path: Path) -> Path:
    """A header that a formula should give, above a filled column."""
    head = FIELDS_HEAD.replace("</row>", '<c r="D1"><f>Threats!A2</f></c></row>')
    row = f'<row r="2">{CREEK}{cell("D2", "high")}</row>'
    return fields_xml(path / "header.xlsx", head + row)


def header_in_error(path: Path) -> Path:
    head = FIELDS_HEAD.replace("</row>", '<c r="D1" t="e"><v>#REF!</v></c></row>')
    row = f'<row r="2">{CREEK}{cell("D2", "high")}</row>'
    return fields_xml(path / "refer.xlsx", head + row)


def circular(path: Path) -> Path:
    return fields_xml(path / "circular.xlsx", FIELDS.replace("<v>80</v>", "<f>B2+1</f>"))


def control_characters(path: Path) -> Path:
    return folder(path / "control", put(good(), "Fields", 2, "Field", "Home\x1b[2J\x07"))


def turned_text(path: Path) -> Path:
    return folder(path / "turned", put(good(), "Fields", 2, "Field", "Home \u202e08\u202c"))


def long_name(path: Path) -> Path:
    return workbook(path / "name.xlsx", put(good(), "Fields", 2, "Field", "x" * 32_767))


def too_many_columns(path: Path) -> Path:
    sheets = good()
    for row in sheets["Fields"]:
        row.extend(["x"] * 3_000)
    return workbook(path / "columns.xlsx", sheets)


def wide_blank_rows(path: Path) -> Path:
    """Two thousand rows with a formatted cell in the last column."""
    rows = "".join(f'<row r="{i}"><c r="XFD{i}" s="0"/></row>' for i in range(3, 2_003))
    return fields_xml(path / "wide.xlsx", FIELDS + rows)


def too_many_rows(path: Path) -> Path:
    row = '<row><c t="inlineStr"><is><t>x</t></is></c></row>'
    return fields_xml(path / "manyrows.xlsx", FIELDS + row * 60_000)


def dates_out_of_range(path: Path) -> Path:
    return folder(path / "dates", put(good(), "Fields", 2, "Planting date", "1899-12-31"))


def date_far_ahead(path: Path) -> Path:
    return folder(path / "ahead", put(good(), "Fields", 2, "Planting date", "10000-01-01"))


def serial_out_of_range(path: Path) -> Path:
    import datetime

    import openpyxl

    target = workbook(path / "serial.xlsx", good())
    book = openpyxl.load_workbook(target)
    book["Fields"]["I2"] = datetime.date(2027, 5, 10)
    book.save(target)
    far = [(n, d.replace(b"<v>46517</v>", b"<v>99999999</v>")) for n, d in unpacked(target)]
    return pack(target, far)


def sheet_twice(path: Path) -> Path:
    sheets = good()
    sheets["FIELDS "] = [row[:] for row in sheets["Fields"]]
    return workbook(path / "twice.xlsx", sheets)


def nothing_known(path: Path) -> Path:
    return workbook(path / "other.xlsx", {"Sheet1": [["a"]], "Sheet2": [["b"]]})


# --- CSV


def nothing_but_faults(path: Path) -> Path:
    """Half a million cells, each of them wrong in a way of its own."""
    target = folder(path / "faults", good())
    head = ",".join(f"threat {i} pressure" for i in range(490))
    rows = (",".join(f"hgh{row}x{i}" for i in range(490)) for row in range(1_000))
    lines = [
        f"Field,Acres,Seeding rate,{head}",
        *(f"F{i},80,140000,{r}" for i, r in enumerate(rows)),
    ]
    (target / "fields.csv").write_text("\n".join(lines), "utf-8")
    return target


def names_of_nothing(path: Path) -> Path:
    """Twice 20,000 names, nearly alike, none of which is the other's."""
    target = folder(path / "names", good())
    threats = "\n".join(f"threat number {i},G" for i in range(20_000))
    (target / "threats.csv").write_text(f"Threat,Need at low\n{threats}", "utf-8")
    rows = "\n".join(f"Green Cap,thraet number {i},G" for i in range(20_000))
    (target / "protection.csv").write_text(f"Product,Threat,Rating\n{rows}", "utf-8")
    return target


def with_fields(data: bytes) -> Callable[[Path], Path]:
    """The good files with another table of fields."""

    def build(path: Path) -> Path:
        target = folder(path / "season", good())
        (target / "fields.csv").write_bytes(data)
        return target

    return build


HOME = "Field,Acres,Seeding rate\nHome,80,140000\n"


def file_twice(path: Path) -> Path:
    target = folder(path / "twice", good())
    (target / "Fields.csv").write_text(HOME, "utf-8")
    return target


def folder_as_file(path: Path) -> Path:
    target = folder(path / "dir", good())
    (target / "fields.csv").unlink()
    (target / "fields.csv").mkdir()
    return target


def large_files(path: Path) -> Path:
    """Each within the limit, together over it."""
    target = folder(path / "large", good())
    for name in ("days off.csv", "discounts.csv", "fields.csv"):
        with (target / name).open("ab") as stream:
            stream.write(b"\n" * 8_000_000)
    return target


def empty_folder(path: Path) -> Path:
    (path / "nothing").mkdir()
    return path / "nothing"


def missing(path: Path) -> Path:
    return path / "not there.xlsx"


def nul_in_path(path: Path) -> Path:
    return path / "a\0b.xlsx"


def device(path: Path) -> Path:
    return Path("/dev/zero")


# --- odd, yet sound


def million_blank_rows(path: Path) -> Path:
    rows = "".join(f'<row r="{i}" s="1"><c r="A{i}" s="1"/></row>' for i in range(3, 1_000_001))
    return fields_xml(path / "million.xlsx", FIELDS + rows)


def formatted_last_row(path: Path) -> Path:
    return fields_xml(path / "last.xlsx", FIELDS + '<row r="1048576"><c r="A1048576" s="1"/></row>')


def macros(path: Path) -> Path:
    def change(name: str, data: bytes) -> bytes:
        if name == "[Content_Types].xml":
            old = b"spreadsheetml.sheet.main+xml"
            return data.replace(
                b"application/vnd.openxmlformats-officedocument." + old,
                b"application/vnd.ms-excel.sheet.macroEnabled.main+xml",
            )
        return data

    return parts(path / "macros.xlsm", change, [("xl/vbaProject.bin", b"\xd0\xcf\x11\xe0")])


def linked(path: Path) -> Path:
    """Formulas that point to another file, with their stored results."""
    row = FIELDS.replace("<v>80</v>", "<f>[1]Other!B2</f><v>80</v>")
    return fields_xml(path / "linked.xlsx", row)


def blank_result(path: Path) -> Path:
    """A formula whose stored result is a blank text, in a column that may be blank."""
    head = FIELDS_HEAD.replace("</row>", cell("D1", "Grower") + "</row>")
    row = f'<row r="2">{CREEK}<c r="D2" t="str"><f>""</f><v></v></c></row>'
    return fields_xml(path / "blank.xlsx", head + row)


def idle_formulas(path: Path) -> Path:
    """Formulas without results beside the table, in a column that is not ours."""
    head = FIELDS_HEAD.replace("</row>", cell("D1", "Units needed") + "</row>")
    row = f'<row r="2">{CREEK}<c r="D2"><f>B2*C2</f></c></row>'
    more = "".join(f'<row r="{i}"><c r="D{i}"><f>B{i}</f></c></row>' for i in range(3, 200))
    return fields_xml(path / "idle.xlsx", head + row + more)


def lying_dimension(path: Path) -> Path:
    def change(name: str, data: bytes) -> bytes:
        if name != "xl/worksheets/sheet2.xml":
            return data
        at, end = data.index(b"<dimension"), data.index(b"/>", data.index(b"<dimension"))
        return data[:at] + b'<dimension ref="A1:XFD1048576"' + data[end:]

    return parts(path / "dimension.xlsx", change)


def marked_utf8(path: Path) -> Path:
    target = folder(path / "bom", good())
    fields = target / "fields.csv"
    return raw(fields, b"\xef\xbb\xbf" + fields.read_bytes()).parent


def line_ends_mixed(path: Path) -> Path:
    """A table whose three lines end as on three systems."""
    target = folder(path / "ends", good())
    lines = (target / "fields.csv").read_text("utf-8").splitlines()
    text = "".join(map("".join, zip(lines, ["\r\n", "\n", "\r"], strict=True)))
    return raw(target / "fields.csv", text.encode()).parent


def semicolons(path: Path) -> Path:
    sheets = put(good(), "Fields", 2, "Seeding rate", "140000")
    put(sheets, "Seed lots", 3, "Seeds per lb", "2650")
    put(sheets, "Containers", 4, "Price", "5100")
    put(sheets, "What if", 4, "Value", "4500")
    return folder(path / "semicolons", sheets, ";")


def blank_lines(path: Path) -> Path:
    """Millions of lines without anything, and of lines with dividers only."""
    target = folder(path / "blank", good())
    with (target / "fields.csv").open("ab") as stream:
        stream.write(b"\n" * 4_000_000)
    with (target / "days off.csv").open("ab") as stream:
        stream.write(b",\r\n" * 2_000_000)
    return target


def tabs(path: Path) -> Path:
    return folder(path / "tabs", good(), "\t")


def other_letters(path: Path) -> Path:
    """Names that are not Latin, right to left, or start like formulas, in a path like that."""
    sheets = put(good(), "Fields", 2, "Field", "=HYPERLINK(1)")
    put(sheets, "Fields", 3, "Field", "حقل الشمال")
    put(sheets, "What if", 3, "Row", "حقل الشمال")
    put(sheets, "Seed lots", 4, "Lot", "北地 [b]1[/b]")
    return folder(path / "Ein Ort, 畑", sheets)


# --- the corpus

KEPT: dict[str, Callable[[Path], Path]] = {
    "workbook/empty-file.xlsx": empty,
    "workbook/text.xlsx": text_as_workbook,
    "workbook/old-or-with-a-password.xls": old_or_locked,
    "workbook/one-csv-file.csv": single_csv,
    "workbook/cut-off.xlsx": truncated,
    "workbook/first-bytes-only.xlsx": head_only,
    "workbook/another-zip.xlsx": other_zip,
    "workbook/opendocument.ods": opendocument,
    "workbook/binary-workbook.xlsb": binary_workbook,
    "workbook/zip-with-password.xlsx": zip_with_password,
    "workbook/flipped-bytes.xlsx": flipped_bytes,
    "workbook/zip-bomb-by-ratio.xlsx": small_bomb,
    "workbook/lying-size.xlsx": lying_size,
    "workbook/laughs-in-a-sheet.xlsx": with_entities("xl/worksheets/sheet2.xml", LAUGHS),
    "workbook/laughs-in-the-workbook.xlsx": with_entities("xl/workbook.xml", LAUGHS),
    "workbook/laughs-in-the-styles.xlsx": with_entities("xl/styles.xml", LAUGHS),
    "workbook/laughs-in-the-types.xlsx": with_entities("[Content_Types].xml", LAUGHS),
    "workbook/laughs-in-relations.xlsx": with_entities("xl/_rels/workbook.xml.rels", LAUGHS),
    "workbook/laughs-in-properties.xlsx": with_entities("docProps/core.xml", LAUGHS),
    "workbook/outside-entity-in-a-sheet.xlsx": with_entities("xl/worksheets/sheet1.xml", OUTSIDE),
    "workbook/outside-entity-in-the-workbook.xlsx": with_entities("xl/workbook.xml", OUTSIDE),
    "workbook/outside-entity-in-the-styles.xlsx": with_entities("xl/styles.xml", OUTSIDE),
    "workbook/outside-entity-in-the-theme.xlsx": with_entities("xl/theme/theme1.xml", OUTSIDE),
    "workbook/outside-entity-in-relations.xlsx": with_entities(
        "xl/_rels/workbook.xml.rels", OUTSIDE
    ),
    "workbook/outside-entity-in-relations-of-the-package.xlsx": with_entities(
        "_rels/.rels", OUTSIDE
    ),
    "workbook/outside-entity-in-app-properties.xlsx": with_entities("docProps/app.xml", OUTSIDE),
    "workbook/outside-entity-in-core-properties.xlsx": with_entities("docProps/core.xml", OUTSIDE),
    "workbook/outside-entity-in-the-types.xlsx": with_entities("[Content_Types].xml", OUTSIDE),
    "workbook/laughs-under-another-name.xlsx": under_another_name,
    "workbook/utf-16-part.xlsx": utf16_part,
    "workbook/no-sheet-part.xlsx": no_sheet_part,
    "workbook/string-that-is-not-there.xlsx": bad_string_number,
    "workbook/style-that-is-not-there.xlsx": bad_style_number,
    "workbook/named-style-without-format.xlsx": bad_named_style,
    "workbook/row-without-number.xlsx": bad_row_number,
    "workbook/cell-without-column.xlsx": bad_cell_name,
    "workbook/nan-in-a-cell.xlsx": nan_in_xml,
    "workbook/infinity-in-a-cell.xlsx": infinite_in_xml,
    "workbook/number-of-400-digits.xlsx": long_number,
    "workbook/error-cell.xlsx": error_cell,
    "workbook/formula-never-calculated.xlsx": formula_without_result,
    "workbook/row-never-calculated.xlsx": formula_row_without_result,
    "workbook/header-never-calculated.xlsx": header_without_result,
    "workbook/header-in-error.xlsx": header_in_error,
    "workbook/circular-formula.xlsx": circular,
    "workbook/name-of-32767-letters.xlsx": long_name,
    "workbook/thousands-of-columns.xlsx": too_many_columns,
    "workbook/wide-blank-rows.xlsx": wide_blank_rows,
    "workbook/too-many-rows.xlsx": too_many_rows,
    "workbook/serial-after-9999.xlsx": serial_out_of_range,
    "workbook/sheet-twice.xlsx": sheet_twice,
    "workbook/no-known-sheet.xlsx": nothing_known,
    "workbook/format-in-the-last-row.xlsx": formatted_last_row,
    "workbook/macros.xlsm": macros,
    "workbook/links-to-other-files.xlsx": linked,
    "workbook/formula-with-a-blank-result.xlsx": blank_result,
    "workbook/idle-formulas-beside-the-table.xlsx": idle_formulas,
    "workbook/dimension-that-lies.xlsx": lying_dimension,
    "workbook/no-styles.xlsx": no_styles,
    "workbook/deep-xml.xlsx": deep_xml,
    "workbook/row-far-away.xlsx": far_row,
    "csv/control-characters.csv": control_characters,
    "csv/turned-text.csv": turned_text,
    "csv/date-before-1900.csv": dates_out_of_range,
    "csv/date-after-9999.csv": date_far_ahead,
    "csv/utf-16.csv": with_fields(HOME.encode("utf-16")),
    "csv/utf-16-without-mark.csv": with_fields(HOME.encode("utf-16-le")),
    "csv/windows-1252.csv": with_fields(HOME.replace("Home", "Hög").encode("cp1252")),
    "csv/nul.csv": with_fields(HOME.encode() + b"A\x00B,1,1\n"),
    "csv/open-quote.csv": with_fields(b'Field,Acres,Seeding rate\n"Home,80,140000\n'),
    "csv/odd-quotes.csv": with_fields(b'Field,Acres,Seeding rate\n"Home" 80,80,1\n'),
    "csv/long-rows.csv": with_fields(b"Field,Acres,Seeding rate\nHome,80,140,000\n"),
    "csv/short-rows.csv": with_fields(b"Field,Acres,Seeding rate,Trait\nHome,80,140000\n"),
    "csv/divided-by-bars.csv": with_fields(b"Field|Acres|Seeding rate\nHome|80|140000\n"),
    "csv/decimal-commas.csv": with_fields(b"Field;Acres;Seeding rate\nHome;80,5;140000\n"),
    "csv/unsure-thousands.csv": with_fields(b"Field;Acres;Seeding rate\nHome;80;140,000\n"),
    "csv/workbook.csv": with_fields(b"PK\x03\x04abc"),
    "csv/noise.csv": with_fields(bytes(range(1, 256)) * 20),
    "csv/cell-past-the-limit.csv": with_fields(HOME.encode() + b"x" * 40_000 + b",1,1\n"),
    "csv/3000-columns.csv": with_fields(HOME.encode() + b"x," * 3_000 + b"x\n"),
    "csv/empty.csv": with_fields(b""),
    "csv/byte-order-mark.csv": marked_utf8,
    "csv/mixed-line-ends.csv": line_ends_mixed,
    "csv/divided-by-semicolons": semicolons,
    "csv/divided-by-tabs": tabs,
    "csv/other letters, 畑": other_letters,
}
"""Builder of each file, or folder, of the corpus."""

BUILT: dict[str, Callable[[Path], Path]] = {
    "zip bomb": bomb,
    "many parts": many_parts,
    "cell past any limit": with_fields(HOME.encode() + b"x" * 400_000 + b",1,1\n"),
    "csv of one endless row": with_fields(HOME.encode() + b"ab," * 5_000_000),
    "csv of one row over many lines": with_fields(HOME.encode() + b'"a\n",' * 2_000_000),
    "csv of 60,000 rows": with_fields((HOME + "A,1,1\n" * 60_000).encode()),
    "nothing but faults": nothing_but_faults,
    "names of nothing": names_of_nothing,
    "file twice": file_twice,
    "folder named as a file": folder_as_file,
    "large files": large_files,
    "empty folder": empty_folder,
    "nothing there": missing,
    "NUL in the path": nul_in_path,
    "a device": device,
    "a million blank rows": million_blank_rows,
    "millions of blank lines": blank_lines,
}
"""Builder of each case that is made anew for every test."""


class Case(NamedTuple):
    """One line of `corpus/cases.csv`."""

    name: str
    """File or folder of the corpus, or key of `BUILT`."""
    end: str
    """How reading must end: refused, or taken, even though cells of it may be faults."""
    words: str
    """What the refusal must hold."""
    why_not_kept: str


def cases(end: str) -> list[Case]:
    """Cases that must end so."""
    with (CORPUS / "cases.csv").open(encoding="utf-8", newline="") as stream:
        every = [Case(*row) for row in list(csv.reader(stream))[1:]]
    return [case for case in every if case.end == end]


def handed_over(name: str, path: Path) -> Path:
    """What is handed to the reader in a case; what has to be made for that is made in `path`."""
    if name in BUILT:
        return BUILT[name](path)
    kept = CORPUS / name
    if name.startswith("csv/") and kept.is_file():
        return with_fields(kept.read_bytes())(path)
    return kept


def build(name: str, path: Path) -> Path:
    """Make a file, or folder, of the corpus in `path`."""
    made = KEPT[name](path)
    return made / "fields.csv" if made.is_dir() and name.endswith(".csv") else made


def main() -> None:
    """Make the corpus again, all but its table."""
    for name in ("workbook", "csv"):
        shutil.rmtree(CORPUS / name, ignore_errors=True)
        (CORPUS / name).mkdir(parents=True)
    for name in KEPT:
        with tempfile.TemporaryDirectory() as place:
            shutil.move(build(name, Path(place)), CORPUS / name)


if __name__ == "__main__":
    main()
