"""Inputs that are broken, odd or meant to do harm: each builder writes one and returns its path.

`REFUSED` lists builders with words that the refusal must hold; `TAKEN` those that must be read in
spite of all. Everything starts from the good season of `inputs`.
"""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

from tests.inputs import folder, good, put, workbook

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


def parts(path: Path, change: Callable[[str, bytes], bytes | None], extra=()) -> Path:
    """The good workbook with its parts changed; None leaves a part out."""
    whole = workbook(path.with_suffix(".good.xlsx"), good())
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            data = change(info.filename, old.read(info))
            if data is not None:
                new.writestr(info.filename, data)
        for name, data in extra:
            new.writestr(name, data)
    whole.unlink()
    return path


def sheet_xml(path: Path, rows: str, number: int = 2, before: str = "") -> Path:
    """The good workbook with one sheet's XML replaced (1 is Farm, 2 Fields, 3 Seed lots)."""
    xml = f'<?xml version="1.0"?>{before}<worksheet {NS}><sheetData>{rows}</sheetData></worksheet>'

    def change(name: str, data: bytes) -> bytes:
        return xml.encode() if name == f"xl/worksheets/sheet{number}.xml" else data

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
    with zipfile.ZipFile(path / "other.xlsx", "w") as archive:
        archive.writestr("photo.txt", "nothing to see")
    return path / "other.xlsx"


def opendocument(path: Path) -> Path:
    with zipfile.ZipFile(path / "season.ods", "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", "<x/>")
    return path / "season.ods"


def binary_workbook(path: Path) -> Path:
    with zipfile.ZipFile(path / "season.xlsb", "w") as archive:
        archive.writestr("[Content_Types].xml", "<x/>")
        archive.writestr("xl/workbook.bin", b"\0")
    return path / "season.xlsb"


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
    return sheet_xml(path / "deep.xlsx", FIELDS + "<x>" * 100_000 + "</x>" * 100_000)


def no_styles(path: Path) -> Path:
    return parts(path / "nostyles.xlsx", lambda n, d: None if n == "xl/styles.xml" else d)


def no_sheet_part(path: Path) -> Path:
    return parts(path / "nosheet.xlsx", lambda n, d: None if n.endswith("sheet2.xml") else d)


def bad_string_number(path: Path) -> Path:
    return sheet_xml(path / "strings.xlsx", '<row r="1"><c r="A1" t="s"><v>999999</v></c></row>')


def bad_style_number(path: Path) -> Path:
    row = '<row r="3"><c r="A3" s="9999"><v>1</v></c></row>'
    return sheet_xml(path / "styles.xlsx", FIELDS + row)


def bad_named_style(path: Path) -> Path:
    """A named style whose format is not there: openpyxl prints that."""

    def change(name: str, data: bytes) -> bytes:
        return data.replace(b'xfId="0"', b'xfId="7"') if name == "xl/styles.xml" else data

    return parts(path / "named.xlsx", change)


def bad_row_number(path: Path) -> Path:
    return sheet_xml(path / "rows.xlsx", FIELDS + '<row r="minus one"><c r="A3"><v>1</v></c></row>')


def bad_cell_name(path: Path) -> Path:
    return sheet_xml(path / "names.xlsx", FIELDS + '<row r="3"><c r="ZZZZZZ3"><v>1</v></c></row>')


def far_row(path: Path) -> Path:
    """A cell so far down that the rows between would never end."""
    return sheet_xml(path / "far.xlsx", FIELDS + '<row r="99999999999"><c><v>1</v></c></row>')


def nan_in_xml(path: Path) -> Path:
    return sheet_xml(path / "nan.xlsx", FIELDS.replace("<v>80</v>", "<v>NaN</v>"))


def infinite_in_xml(path: Path) -> Path:
    return sheet_xml(path / "inf.xlsx", FIELDS.replace("<v>80</v>", "<v>1e999</v>"))


def long_number(path: Path) -> Path:
    return sheet_xml(path / "long.xlsx", FIELDS.replace("<v>80</v>", f"<v>{'9' * 400}</v>"))


def error_cell(path: Path) -> Path:
    return sheet_xml(
        path / "error.xlsx", FIELDS.replace('<c r="B2"><v>80</v>', '<c r="B2" t="e"><v>#N/A</v>')
    )


def formula_without_result(path: Path) -> Path:
    return sheet_xml(path / "formula.xlsx", FIELDS.replace("<v>80</v>", "<f>40*2</f><v></v>"))


def formula_row_without_result(path: Path) -> Path:
    """A row that holds formulas only, none ever calculated, must not be passed over."""
    row = '<row r="3"><c r="A3"><f>Farm!A1</f></c><c r="B3"><f>40*2</f></c></row>'
    return sheet_xml(path / "formulas.xlsx", FIELDS + row)


def header_without_result(path: Path) -> Path:
    """A header that a formula should give, above a filled column."""
    head = FIELDS_HEAD.replace("</row>", '<c r="D1"><f>Threats!A2</f></c></row>')
    row = f'<row r="2">{CREEK}{cell("D2", "high")}</row>'
    return sheet_xml(path / "header.xlsx", head + row)


def header_in_error(path: Path) -> Path:
    head = FIELDS_HEAD.replace("</row>", '<c r="D1" t="e"><v>#REF!</v></c></row>')
    row = f'<row r="2">{CREEK}{cell("D2", "high")}</row>'
    return sheet_xml(path / "refer.xlsx", head + row)


def circular(path: Path) -> Path:
    return sheet_xml(path / "circular.xlsx", FIELDS.replace("<v>80</v>", "<f>B2+1</f>"))


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
    return sheet_xml(path / "wide.xlsx", FIELDS + rows)


def too_many_rows(path: Path) -> Path:
    row = '<row><c t="inlineStr"><is><t>x</t></is></c></row>'
    return sheet_xml(path / "manyrows.xlsx", FIELDS + row * 60_000)


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
    out = path / "serial2.xlsx"
    with zipfile.ZipFile(target) as old, zipfile.ZipFile(out, "w") as new:
        for info in old.infolist():
            data = old.read(info)
            new.writestr(info.filename, data.replace(b"<v>46517</v>", b"<v>99999999</v>"))
    return out


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


def with_file(name: str, data: bytes, case: str) -> Callable[[Path], Path]:
    def build(path: Path) -> Path:
        target = folder(path / case, good())
        (target / name).write_bytes(data)
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


Case = tuple[Callable[[Path], Path], str]

REFUSED: dict[str, Case] = {
    "empty file": (empty, "an empty file"),
    "text named xlsx": (text_as_workbook, "no workbook"),
    "old xls or password": (old_or_locked, "a password"),
    "one csv file": (single_csv, "the folder that holds the files"),
    "cut off": (truncated, "damaged or cut-off"),
    "first bytes only": (head_only, "damaged or cut-off"),
    "another zip": (other_zip, "a zip file that is no workbook"),
    "ods": (opendocument, "OpenDocument"),
    "xlsb": (binary_workbook, "binary workbook"),
    "zip with password": (zip_with_password, "a zip with a password"),
    "flipped bytes": (flipped_bytes, "damaged"),
    "zip bomb": (bomb, "that unpack to 300,"),
    "zip bomb by ratio": (small_bomb, "times the file's size"),
    "lying size": (lying_size, "damaged"),
    "many parts": (many_parts, "parts"),
    "laughs in a sheet": (with_entities("xl/worksheets/sheet2.xml", LAUGHS), "entities"),
    "laughs in the workbook": (with_entities("xl/workbook.xml", LAUGHS), "entities"),
    "laughs in the styles": (with_entities("xl/styles.xml", LAUGHS), "entities"),
    "laughs in the types": (with_entities("[Content_Types].xml", LAUGHS), "entities"),
    "laughs in relations": (with_entities("xl/_rels/workbook.xml.rels", LAUGHS), "entities"),
    "laughs in properties": (with_entities("docProps/core.xml", LAUGHS), "entities"),
    **{
        f"outside entity in {part}": (with_entities(part, OUTSIDE), "entities")
        for part in (
            "xl/worksheets/sheet1.xml",
            "xl/workbook.xml",
            "xl/styles.xml",
            "xl/theme/theme1.xml",
            "xl/_rels/workbook.xml.rels",
            "_rels/.rels",
            "docProps/app.xml",
            "docProps/core.xml",
            "[Content_Types].xml",
        )
    },
    "laughs under another name": (under_another_name, "damaged"),
    "utf-16 part": (utf16_part, "not UTF-8"),
    "no sheet part": (no_sheet_part, "a sheet 'Fields'"),
    "string that is not there": (bad_string_number, "damaged"),
    "style that is not there": (bad_style_number, "damaged"),
    "named style without format": (bad_named_style, "damaged"),
    "row without number": (bad_row_number, "damaged"),
    "cell without column": (bad_cell_name, "damaged"),
    "NaN in a cell": (nan_in_xml, "damaged"),
    "infinity in a cell": (infinite_in_xml, "Fields, row 2, Acres"),
    "number of 400 digits": (long_number, "Fields, row 2, Acres"),
    "error cell": (
        error_cell,
        "Fields, row 2, Acres: here stands '#N/A'; expected a value, not an",
    ),
    "formula never calculated": (formula_without_result, "whose result was never stored"),
    "row never calculated": (formula_row_without_result, "Fields, row 3, Field"),
    "header never calculated": (header_without_result, "Fields, row 1"),
    "header in error": (header_in_error, "here stands '#REF!'; expected a header"),
    "circular formula": (circular, "Fields, row 2, Acres"),
    "control characters": (control_characters, "U+001B"),
    "turned text": (turned_text, "U+202E"),
    "name of 32,767 letters": (long_name, "at most 200 characters"),
    "thousands of columns": (too_many_columns, "at most 500 columns"),
    "wide blank rows": (wide_blank_rows, "delete the blank rows and columns"),
    "too many rows": (too_many_rows, "over 50,000 filled rows"),
    "date before 1900": (dates_out_of_range, "between 1900 and 2200"),
    "date after 9999": (date_far_ahead, "a date as 2027-05-10"),
    "serial after 9999": (serial_out_of_range, "Fields, row 2, Planting date"),
    "sheet twice": (sheet_twice, "'Fields' too"),
    "no known sheet": (nothing_known, "the sheets Farm, Fields"),
    "csv in UTF-16": (with_file("fields.csv", HOME.encode("utf-16"), "utf16"), "UTF-16 text"),
    "csv in UTF-16 without mark": (
        with_file("fields.csv", HOME.encode("utf-16-le"), "utf16le"),
        "a NUL byte",
    ),
    "csv in Windows-1252": (
        with_file("fields.csv", HOME.replace("Home", "Hög").encode("cp1252"), "cp1252"),
        "fields.csv, row 2: here stands 'byte F6, as in Windows-1252",
    ),
    "csv with NUL": (with_file("fields.csv", HOME.encode() + b"A\0B,1,1\n", "nul"), "row 3"),
    "csv with an open quote": (
        with_file("fields.csv", b'Field,Acres,Seeding rate\n"Home,80,140000\n', "quote"),
        "fields.csv, row 2: here stands 'a quote (\") that is never closed'",
    ),
    "csv with odd quotes": (
        with_file("fields.csv", b'Field,Acres,Seeding rate\n"Home" 80,80,1\n', "odd"),
        "quotes that don't match",
    ),
    "csv with long rows": (
        with_file("fields.csv", b"Field,Acres,Seeding rate\nHome,80,140,000\n", "long"),
        "Fields, row 2: here stands '4 cells'; expected 3 cells",
    ),
    "csv with short rows": (
        with_file("fields.csv", b"Field,Acres,Seeding rate,Trait\nHome,80,140000\n", "short"),
        "Fields, row 2: here stands '3 cells'; expected 4 cells",
    ),
    "csv divided by bars": (
        with_file("fields.csv", b"Field|Acres|Seeding rate\nHome|80|140000\n", "bars"),
        "a row of headers",
    ),
    "decimal commas": (
        with_file("fields.csv", b"Field;Acres;Seeding rate\nHome;80,5;140000\n", "comma"),
        "80.5",
    ),
    "unsure thousands": (
        with_file("fields.csv", b"Field;Acres;Seeding rate\nHome;80;140,000\n", "unsure"),
        "write 140000 or 140.000",
    ),
    "workbook as csv": (with_file("fields.csv", b"PK\x03\x04abc", "zip"), "a workbook"),
    "noise as csv": (with_file("fields.csv", bytes(range(1, 256)) * 20, "noise"), "fields.csv"),
    "cell past the limit": (
        with_file("fields.csv", HOME.encode() + b"x" * 40_000 + b",1,1\n", "cell"),
        "at most 32,767 letters",
    ),
    "cell past any limit": (
        with_file("fields.csv", HOME.encode() + b"x" * 400_000 + b",1,1\n", "huge"),
        "fields.csv, row 3",
    ),
    "csv of one endless row": (
        with_file("fields.csv", HOME.encode() + b"ab," * 5_000_000, "endless"),
        "at most 1,000,000 letters in a row",
    ),
    "csv of one row over many lines": (
        with_file("fields.csv", HOME.encode() + b'"a\n",' * 2_000_000, "lines"),
        "at most 1,000,000 letters in a row",
    ),
    "csv of 60,000 rows": (
        with_file("fields.csv", (HOME + "A,1,1\n" * 60_000).encode(), "rows"),
        "at most 50,000 rows",
    ),
    "csv of 3,000 columns": (
        with_file("fields.csv", HOME.encode() + b"x," * 3_000 + b"x\n", "cols"),
        "at most 500 columns",
    ),
    "empty csv": (
        with_file("fields.csv", b"", "empty"),
        "Fields: expected headers (Field, Acres)",
    ),
    "nothing but faults": (nothing_but_faults, "no further faults"),
    "names of nothing": (names_of_nothing, "no further faults"),
    "file twice": (file_twice, "'Fields.csv' too"),
    "folder named as a file": (folder_as_file, "a file 'fields.csv'"),
    "large files": (large_files, "fields.csv: here stands 'over 3,99"),
    "empty folder": (empty_folder, "the files farm.csv, fields.csv"),
    "nothing there": (missing, "nothing of this name"),
    "NUL in the path": (nul_in_path, "nothing of this name"),
    "a device": (device, "neither a file nor a folder"),
}
"""Builder and words by case."""


# --- odd, yet sound


def million_blank_rows(path: Path) -> Path:
    rows = "".join(f'<row r="{i}" s="1"><c r="A{i}" s="1"/></row>' for i in range(3, 1_000_001))
    return sheet_xml(path / "million.xlsx", FIELDS + rows)


def formatted_last_row(path: Path) -> Path:
    return sheet_xml(path / "last.xlsx", FIELDS + '<row r="1048576"><c r="A1048576" s="1"/></row>')


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
    return sheet_xml(path / "linked.xlsx", row)


def blank_result(path: Path) -> Path:
    """A formula whose stored result is a blank text, in a column that may be blank."""
    head = FIELDS_HEAD.replace("</row>", cell("D1", "Grower") + "</row>")
    row = f'<row r="2">{CREEK}<c r="D2" t="str"><f>""</f><v></v></c></row>'
    return sheet_xml(path / "blank.xlsx", head + row)


def idle_formulas(path: Path) -> Path:
    """Formulas without results beside the table, in a column that is not ours."""
    head = FIELDS_HEAD.replace("</row>", cell("D1", "Units needed") + "</row>")
    row = f'<row r="2">{CREEK}<c r="D2"><f>B2*C2</f></c></row>'
    more = "".join(f'<row r="{i}"><c r="D{i}"><f>B{i}</f></c></row>' for i in range(3, 200))
    return sheet_xml(path / "idle.xlsx", head + row + more)


def lying_dimension(path: Path) -> Path:
    def change(name: str, data: bytes) -> bytes:
        if name != "xl/worksheets/sheet2.xml":
            return data
        at, end = data.index(b"<dimension"), data.index(b"/>", data.index(b"<dimension"))
        return data[:at] + b'<dimension ref="A1:XFD1048576"' + data[end:]

    return parts(path / "dimension.xlsx", change)


def marked_utf8(path: Path) -> Path:
    target = folder(path / "bom", good())
    for file in target.iterdir():
        file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes())
    return target


def line_ends_mixed(path: Path) -> Path:
    target = folder(path / "ends", good())
    for file in target.iterdir():
        lines = file.read_text("utf-8").splitlines()
        ends = ["\r\n", "\n", "\r"]
        text = "".join(line + ends[i % 3] for i, line in enumerate(lines))
        file.write_bytes(text.encode())
    return target


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


TAKEN: dict[str, Callable[[Path], Path]] = {
    "a million blank rows": million_blank_rows,
    "format in the last row": formatted_last_row,
    "macros": macros,
    "links to other files": linked,
    "formula with a blank result": blank_result,
    "idle formulas beside the table": idle_formulas,
    "dimension that lies": lying_dimension,
    "no styles": no_styles,
    "deep XML": deep_xml,
    "byte-order mark": marked_utf8,
    "mixed line ends": line_ends_mixed,
    "divided by semicolons": semicolons,
    "divided by tabs": tabs,
    "millions of blank lines": blank_lines,
    "other letters": other_letters,
    "row far away": far_row,
}
"""Builder by case; what is read may still hold faults, but only of its cells."""
