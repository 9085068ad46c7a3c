"""The page over plain HTTP: who is let in, what is taken, and the way through it without script.

Checks of safety follow OWASP's cheat sheets (Cross-Site Request Forgery Prevention, File Upload,
Content Security Policy) and the description of DNS rebinding in NCC Group's Singularity wiki.
"""

from __future__ import annotations

import errno
import json
import re
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

pytest.importorskip("starlette")

from starlette.testclient import TestClient

from planner import api
from planner.errors import OutputError
from planner.explain.tried import try_out
from planner.many.found import seasons_in
from planner.page.desk import Desk, Desks, Taken
from planner.page.guard import FORM_BYTES, UPLOAD_BYTES
from planner.page.plan_views import kept_in, listed
from planner.page.plans import take
from planner.page.server import serve
from planner.page.shelf import STORE
from planner.report.campaign_files import update_campaign
from planner.report.measures import Manner
from planner.report.sheets import Book, Sheet
from planner.report.workbook import render
from planner.season.read import changed_season
from tests.support import hostile, inputs
from tests.support.page import HERE, OURS, PORT, Reader, rows_of, texts

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "planner" / "page"


@pytest.fixture
def reader(tmp_path: Path) -> Reader:
    """Someone who was let in, to an empty folder."""
    folder = tmp_path / "farm"
    folder.mkdir()
    return Reader(folder).enter()


@pytest.fixture(scope="module")
def workbook(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A small season without faults."""
    place = tmp_path_factory.mktemp("elsewhere")
    return inputs.workbook(place / "small.xlsx", inputs.good()).read_bytes()


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory, workbook: bytes) -> tuple[Reader, str]:
    """Someone who has a plan of a small season, and its address."""
    reader = Reader(tmp_path_factory.mktemp("planned")).enter()
    season = reader.drop("small.xlsx", workbook)
    reader.planned(season)
    return reader, season


# --- who is let in ------------------------------------------------------------------------------

SECRETS = ("/", "/season.xlsx", "/s/000000000000", "/s/000000000000/files/0", "/nothing")


@pytest.mark.parametrize("where", SECRETS)
def test_without_the_cookie_nothing_is_answered_but_the_door(tmp_path: Path, where: str) -> None:
    reader = Reader(tmp_path)
    said = reader.get(where, 401)
    assert 'name="code"' in said
    assert reader.keys.form not in said
    assert reader.keys.code not in said
    assert str(tmp_path) not in said


def test_a_wrong_code_and_a_wrong_cookie_let_nobody_in(tmp_path: Path) -> None:
    reader = Reader(tmp_path)
    wrong = reader.client.post("/enter", data={"code": "0" * 32})
    assert wrong.status_code == 403
    assert "set-cookie" not in wrong.headers
    reader.client.cookies.set(f"wholedrum-{PORT}", "0" * 43)
    reader.get("/", 401)


@pytest.mark.parametrize(
    "other", ['theme={"dark": 1, "size": 2}', "user=José", "ui[1]=x", "=", "plain"]
)
def test_cookies_of_other_programs_lock_nobody_out(tmp_path: Path, other: str) -> None:
    reader = Reader(tmp_path)
    ours = f"wholedrum-{PORT}={reader.keys.cookie}"
    for sent in (f"{other}; {ours}", f"{ours}; {other}"):
        answer = reader.client.get("/", headers={"cookie": sent.encode("latin-1")})
        assert answer.status_code == 200
    wrong = f"{other}; wholedrum-{PORT}={other}; x{ours}"
    assert reader.client.get("/", headers={"cookie": wrong.encode("latin-1")}).status_code == 401


def test_the_cookie_is_for_this_server_and_out_of_reach_of_scripts(tmp_path: Path) -> None:
    reader = Reader(tmp_path)
    said = reader.client.post("/enter", data={"code": reader.keys.code}).headers["set-cookie"]
    assert said.startswith(f"wholedrum-{PORT}=")
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= set(said.split("; "))
    reader.get("/")


def test_every_start_has_secrets_of_its_own(tmp_path: Path) -> None:
    one, other = Reader(tmp_path).keys, Reader(tmp_path).keys
    secrets = {one.code, one.cookie, one.form, other.code, other.cookie, other.form}
    assert len(secrets) == 6
    assert all(len(secret) >= 32 for secret in secrets)


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        f"evil.example:{PORT}",
        "127.0.0.1",
        f"127.0.0.1:{PORT + 1}",
        f"127.0.0.1.evil.example:{PORT}",
        f"127.0.0.1:{PORT}@evil.example",
        f"0.0.0.0:{PORT}",
        "",
    ],
)
def test_another_host_is_refused_even_with_the_cookie(reader: Reader, host: str) -> None:
    answer = reader.client.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "wholedrum" not in answer.text


def test_two_hosts_and_none_are_refused(reader: Reader) -> None:
    """What a client library would not send: straight to the application."""
    import anyio

    good = f"127.0.0.1:{PORT}".encode()
    for hosts in ([], [good, good]):
        scope = {
            "type": "http",
            "method": "GET",
            "path": "/",
            "query_string": b"",
            "headers": [(b"host", host) for host in hosts],
        }
        seen: list[int] = []

        async def send(message: dict[str, int], seen: list[int] = seen) -> None:
            seen.append(message.get("status", 0))

        async def receive() -> dict[str, object]:
            return {"type": "http.request", "body": b"", "more_body": False}

        anyio.run(reader.app, scope, receive, send)
        assert seen[0] == 421


def test_localhost_is_the_same_machine(reader: Reader) -> None:
    cookie = f"wholedrum-{PORT}={reader.keys.cookie}"
    host = f"LocalHost:{PORT}"
    answer = reader.client.get("/", headers={"host": host, "cookie": cookie})
    assert answer.status_code == 200


FOREIGN = [
    {"sec-fetch-site": "cross-site", "origin": "http://evil.example"},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site", "origin": f"http://127.0.0.1:{PORT + 1}"},
    {"sec-fetch-site": "none"},
    {"origin": "http://evil.example"},
    {"origin": "null"},
    {"origin": f"https://127.0.0.1:{PORT}"},
    {"sec-fetch-site": "same-origin", "origin": "http://evil.example"},
    {},
]


@pytest.mark.parametrize("headers", FOREIGN, ids=str)
def test_a_form_of_another_page_does_nothing(reader: Reader, headers: dict[str, str]) -> None:
    answer = reader.client.post("/demo", data={"key": reader.keys.form}, headers=headers)
    assert answer.status_code == 403
    assert reader.site.shelf.listed() == []


def test_an_older_browser_that_sends_only_the_origin_is_served(reader: Reader) -> None:
    answer = reader.client.post("/close", data={"key": reader.keys.form}, headers={"origin": HERE})
    assert answer.status_code == 200
    assert reader.ended


@pytest.mark.parametrize("key", ["", "0" * 43, None])
def test_a_form_without_the_secret_does_nothing(reader: Reader, key: str | None) -> None:
    data = {} if key is None else {"key": key}
    assert reader.client.post("/demo", data=data, headers=OURS).status_code == 403
    assert reader.client.post("/close", data=data, headers=OURS).status_code == 403
    assert reader.site.shelf.listed() == []
    assert not reader.ended


def test_nothing_changes_by_looking(reader: Reader, workbook: bytes) -> None:
    season = reader.drop("small.xlsx", workbook)
    for way in ("plan", "stop", "forget"):
        assert reader.client.get(f"{season}/{way}").status_code == 405
    for way in ("/demo", "/open", "/close"):
        assert reader.client.get(way).status_code == 405
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"):
        assert reader.client.request(method, "/", headers=OURS).status_code == 405


# --- headers and markup -------------------------------------------------------------------------


@pytest.mark.parametrize("where", ["/", "/nothing", "/static/page.css", "/enter"])
def test_every_answer_bears_the_safety_headers(reader: Reader, where: str) -> None:
    headers = reader.client.get(where).headers
    rules = dict(
        part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";")
    )
    assert rules["default-src"] == "'none'"
    assert rules["script-src"] == rules["style-src"] == rules["connect-src"] == "'self'"
    assert rules["base-uri"] == rules["object-src"] == rules["frame-ancestors"] == "'none'"
    assert rules["form-action"] == "'self'"
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert "access-control-allow-origin" not in headers


def test_no_template_has_script_or_style_inside_and_nothing_comes_from_the_net() -> None:
    for path in [*(PAGE / "templates").iterdir(), *(PAGE / "static").iterdir()]:
        text = path.read_text("utf-8").replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert not re.search(r"https?:|//[a-z]", text.replace("// ", "")), path.name
        if path.suffix == ".html":
            assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", text), path.name
            assert "|safe" not in text.replace(" ", ""), path.name
            assert re.findall(r"<script[^>]*>", text) in (
                [],
                ['<script src="/static/page.js" defer>'],
            )


def test_text_of_a_workbook_is_never_markup(reader: Reader, tmp_path: Path) -> None:
    sheets = inputs.put(inputs.good(), "Fields", 2, "Field", "<script>alert(1)</script>")
    content = inputs.workbook(tmp_path / "x.xlsx", sheets).read_bytes()
    said = reader.get(reader.drop("<img src=x onerror=alert(1)>.xlsx", content))
    assert "<script>alert" not in said
    assert "&lt;script&gt;alert(1)" in said
    assert "<img" not in said


# --- what is taken ------------------------------------------------------------------------------


def test_a_file_of_over_20_megabytes_is_refused(reader: Reader) -> None:
    said = reader.drop("large.xlsx", b"PK\x03\x04" + bytes(UPLOAD_BYTES + 200_000), 413)
    assert "too large" in said
    assert reader.site.shelf.listed() == []


def test_a_body_that_lies_about_its_length_is_refused(reader: Reader) -> None:
    """Sent in chunks without a length, as a whole workbook that never ends."""
    head = b'--x\r\nContent-Disposition: form-data; name="workbook"; filename="a.xlsx"\r\n\r\n'

    def endless() -> Iterator[bytes]:
        yield head
        for _ in range(UPLOAD_BYTES // 1_000_000 + 3):
            yield b"x" * 1_000_000

    kind = {"content-type": "multipart/form-data; boundary=x"}
    answer = reader.client.post("/open", content=endless(), headers=OURS | kind)
    assert answer.status_code == 413
    answer = reader.client.post("/demo", content=b"x" * (FORM_BYTES + 1), headers=OURS | kind)
    assert answer.status_code == 413
    assert reader.site.shelf.listed() == []


@pytest.mark.parametrize("name", ["season.txt", "season.xlsx.exe", "season", "season.xls", ""])
def test_other_kinds_of_files_are_not_taken(reader: Reader, workbook: bytes, name: str) -> None:
    reader.drop(name, workbook, 400)
    assert reader.site.shelf.listed() == []


def test_who_brings_csv_files_is_told_where_they_are_read(reader: Reader) -> None:
    for name in ("fields.csv", "season.zip"):
        said = texts(reader.drop(name, b"Field,Acres", 400))
        assert "save it as .xlsx" in said
        assert str(reader.site.shelf.folder) in said
    assert str(reader.site.shelf.folder) not in texts(reader.drop("a.ods", b"x", 400))


NAMES = [
    "../../../etc/passwd.xlsx",
    "..\\..\\windows\\system.xlsx",
    "/etc/cron.d/x.xlsx",
    ".bashrc.xlsx",
    "a" * 200 + ".xlsx",
    "con.xlsx",
    "name\x00.xlsx",
    "\u202egnp.xlsx",
    '"; rm -rf /; ".xlsx',
    "....//....//x.xlsx",
]


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_a_hostile_name_writes_nothing_elsewhere(
    reader: Reader, workbook: bytes, tmp_path: Path, name: str
) -> None:
    season = reader.drop(name, workbook)
    key = season.rpartition("/")[2]
    assert re.fullmatch(r"[0-9a-f]{12}", key)
    written = [p.relative_to(tmp_path / "farm") for p in (tmp_path / "farm").rglob("*")]
    place = Path(STORE) / key
    assert {str(p) for p in written} == {
        STORE,
        str(place),
        str(place / "season.xlsx"),
        str(place / "about.json"),
    }
    shown = json.loads((tmp_path / "farm" / place / "about.json").read_text("utf-8"))["name"]
    assert 0 < len(shown) <= 60
    assert not re.search(r'[/\\<>"\x00-\x1f\u202e]', shown)
    assert "no faults found" in reader.get(season)


HOSTILE = [
    hostile.empty,
    hostile.text_as_workbook,
    hostile.small_bomb,
    pytest.param(hostile.bomb, marks=pytest.mark.slow),
    hostile.truncated,
    hostile.zip_with_password,
    hostile.many_parts,
]


@pytest.mark.parametrize("make", HOSTILE, ids=lambda f: f.__name__)
def test_hostile_workbooks_become_faults(reader: Reader, tmp_path: Path, make: object) -> None:
    path = make(tmp_path)  # type: ignore[operator]
    said = reader.get(reader.drop("hostile.xlsx", path.read_bytes()))
    assert "to fix first" in said
    assert "Traceback" not in said


@pytest.mark.parametrize(
    "where",
    [
        "/static/../server.py",
        "/static/%2e%2e/server.py",
        "/static/..%2fserver.py",
        "/s/%2e%2e/files/0",
        "/s/000000000000/files/-1",
        "/s/000000000000/look/..%2f..%2fx",
        "//etc/passwd",
    ],
)
def test_no_path_leads_out(reader: Reader, where: str) -> None:
    answer = reader.client.get(where)
    assert answer.status_code in (404, 405)
    assert "root:" not in answer.text
    assert "make_app" not in answer.text


# --- the way through, without script ------------------------------------------------------------


def test_check_plan_answer_and_download_without_script(reader: Reader, workbook: bytes) -> None:
    season = reader.drop("Marten Hill 2027.xlsx", workbook)
    said = texts(reader.get(season))
    assert "no faults found" in said
    assert "Marten Hill 2027" in texts(reader.get("/"))
    reader.get(f"{season}/answer", 404)
    reader.planned(season)
    made = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None).made
    said = texts(reader.get(f"{season}/answer"))
    assert f"${made.plan.cost.total:,.2f}" in said
    listed = re.findall(r'href="([^"]+/files/\d+)"', reader.get(f"{season}/files"))
    assert len(listed) == len(made.files) >= 3
    sent = {where: reader.client.get(where) for where in listed}
    kinds = {a.headers["content-type"].partition(";")[0] for a in sent.values()}
    assert "application/json" in kinds
    assert all(a.headers["content-disposition"].startswith("attachment") for a in sent.values())
    plan = next(a.json() for a in sent.values() if "json" in a.headers["content-type"])
    assert plan["cost"]["total"] == pytest.approx(made.plan.cost.total)
    reader.get(f"{season}/files/{len(listed)}", 404)


def test_every_page_of_the_plan_opens_and_every_link_leads_somewhere(
    planned: tuple[Reader, str],
) -> None:
    reader, season = planned
    seen: dict[str, str] = {}
    left = [f"{season}/answer"]
    while left:
        where = left.pop()
        if where in seen:
            continue
        seen[where] = reader.get(where)
        found = re.findall(r'href="([^"#?]+)', seen[where])
        left += [x for x in found if x.startswith(season) and "/files/" not in x]
    assert len(seen) > 20
    for where, text in seen.items():
        for to, place in re.findall(rf'href="({season}[^"#?]*)#([^"]+)"', text):
            assert f'id="{place}"' in seen[to], (where, to, place)


def test_faults_are_grouped_by_sheet_and_a_marked_copy_is_sent(
    reader: Reader, tmp_path: Path
) -> None:
    sheets = inputs.put(inputs.good(), "Fields", 2, "Acres", "many")
    sheets = inputs.put(sheets, "Seed lots", 2, "Units on hand", "-3")
    path = inputs.workbook(tmp_path / "broken.xlsx", sheets)
    season = reader.drop("broken.xlsx", path.read_bytes())
    said = reader.get(season)
    with pytest.raises(api.InputError) as error:
        api.load(path)
    assert f"{len(error.value.faults)} faults to fix first" in texts(said)
    for fault in error.value.faults:
        assert f">{fault.sheet}</h2>" in said
        assert fault.cell in said
        assert fault.seen in said
    copy = reader.client.get(f"{season}/marked")
    assert copy.content.startswith(b"PK")
    assert "has faults" in texts(reader.get("/"))
    reader.post(f"{season}/plan")
    reader.get(f"{season}/answer", 404)


@pytest.mark.slow
def test_a_table_is_sorted_and_filtered_by_the_server(reader: Reader) -> None:
    reader.post("/demo")
    season = f"/s/{reader.site.shelf.listed()[0].key}"
    fields = api.load(ROOT / "data" / "demo.xlsx").fields
    by_size = [f.name for f in sorted(fields, key=lambda f: -f.acres)]

    def names(query: str) -> list[str]:
        said = reader.get(f"{season}?{query}")
        return re.findall(r'<tr id="fields-\d+"><td class="text[^"]*">([^<]+)', said)

    assert names("") == [f.name for f in fields]
    assert names("table=fields&by=acres&down=1") == by_size
    assert names("table=fields&find=partner") == [f.name for f in fields if f.grower == "Partner"]
    assert names("table=fields&by=nothing&part=x") == [f.name for f in fields]


def test_planning_twice_at_once_is_one_plan(reader: Reader, workbook: bytes) -> None:
    season = reader.drop("small.xlsx", workbook)
    reader.post(f"{season}/plan", seconds="5")
    job = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None).job
    reader.post(f"{season}/plan", seconds="5")
    assert reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None).job is job
    reader.post(f"{season}/stop")
    reader.planned(season)


@pytest.mark.slow
def test_a_plan_is_still_there_after_the_page_was_started_again(
    tmp_path: Path, workbook: bytes
) -> None:
    first = Reader(tmp_path).enter()
    season = first.drop("small.xlsx", workbook)
    first.planned(season)
    cost = re.search(r"\$[\d,]+\.\d\d", texts(first.get(f"{season}/answer")))
    again = Reader(tmp_path).enter()
    assert cost is not None
    assert cost[0] in texts(again.get(f"{season}/answer"))
    again.post(f"{season}/forget")
    again.get(season, 404)
    assert list((tmp_path / STORE).iterdir()) == []


def test_seasons_of_the_folder_are_listed_and_never_changed(
    tmp_path: Path, workbook: bytes
) -> None:
    own = tmp_path / "own.xlsx"
    own.write_bytes(workbook)
    (tmp_path / "own-faults.xlsx").write_bytes(workbook)
    (tmp_path / "~$own.xlsx").write_bytes(b"x")
    reader = Reader(tmp_path).enter()
    (entry,) = reader.site.shelf.listed()
    assert entry.name == "own"
    reader.planned(f"/s/{entry.key}")
    reader.post(f"/s/{entry.key}/forget")
    assert own.read_bytes() == workbook
    assert (tmp_path / "own-plan" / "plan.xlsx").is_file()


def test_seasons_that_are_not_listed_are_counted(
    tmp_path: Path, workbook: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    for n in range(5):
        (tmp_path / f"north {n}.xlsx").write_bytes(workbook)
    monkeypatch.setattr("planner.page.start_views.MOST_LISTED", 5)
    reader = Reader(tmp_path).enter()
    assert "not shown" not in texts(reader.get("/"))
    monkeypatch.setattr("planner.page.start_views.MOST_LISTED", 3)
    said = reader.get("/")
    assert len(re.findall(r'<a href="/s/', said)) == 3
    assert "2 more, changed before these, are not shown" in texts(said)


def test_trouble_with_a_season_keeps_its_steps(reader: Reader, workbook: bytes) -> None:
    season = reader.drop("small.xlsx", workbook)
    assert f'href="{season}"' in reader.get(f"{season}/answer", 404)
    reader.post(f"{season}/forget")
    assert season not in reader.get(f"{season}/answer", 404)


@pytest.mark.slow
def test_in_mid_season_the_plan_that_is_there_is_stayed_near(tiny: Path) -> None:
    """80 units of the other seed would save $16, $0.20 an acre; it moves from $1 an acre on."""

    def lots(first: float, second: float) -> None:
        head = "Lot,Variety,Maturity,Units on hand,Units per bag,Seeds per lb,Return value"
        one, other = f"L-1,Heron,1.8,160,40,2800,{first}", f"L-2,Egret,1.8,160,40,2800,{second}"
        (tiny / "seed lots.csv").write_text(f"{head}\n{one}\n{other}\n", "utf-8")

    def planted(season: str, **fields: str) -> set[str]:
        reader.finished(season, "plan", seconds="2", **fields)
        plan = json.loads((entry.plans / "plan.json").read_text("utf-8"))
        return {row["lot"] for row in plan["planting"]}

    farm = (tiny / "farm.csv").read_text("utf-8")
    (tiny / "farm.csv").write_text(farm.replace("3%", "0%"), "utf-8")
    lots(0.0, 5.0)
    reader = Reader(tiny.parent).enter()
    (entry,) = reader.site.shelf.listed()
    season = f"/s/{entry.key}"
    assert planted(season) == {"L-1"}
    assert 'name="near"' not in reader.get(season)  # the workbook is as it was
    lots(0.2, 0.0)
    reader = Reader(tiny.parent).enter()  # started again, in spring
    assert re.search('name="near" value="1">', reader.get(season))
    ordered = "Product,Container,Count\nGreen Cap,jug,2\n"
    (tiny / "ordered so far.csv").write_text(ordered, "utf-8")
    assert re.search('name="near" value="1" checked>', reader.get(season))
    assert planted(season, near="1") == {"L-1"}
    assert "What changed" in texts(reader.get(f"{season}/answer"))
    (tiny / "ordered so far.csv").unlink()
    assert planted(season) == {"L-2"}


def test_bags_reported_done_are_not_forgotten_on_the_page(tiny: Path) -> None:
    """Two of three bags are done, so one is left, and its plan knows of both."""
    reader = Reader(tiny.parent).enter()
    (entry,) = reader.site.shelf.listed()
    season = f"/s/{entry.key}"
    reader.planned(season)
    update_campaign(entry.plans / "plan.json", ["L-1:Base:2:2027-01-15"])
    assert "Bags were reported done" in texts(reader.get(season))
    reader.planned(season)
    plan = json.loads((entry.plans / "plan.json").read_text("utf-8"))
    assert [row["full_bags"] for row in plan["treating"]] == [1]
    assert sum(row["bags"] for row in plan["for_planning_again"]["log"]) == 2
    assert "counted as treated here: 80 units of L-1" in texts(reader.get(f"{season}/answer"))
    assert "Show the plan as it is, before" in texts(reader.get(f"{season}/answer"))
    reader = Reader(tiny.parent).enter()  # started again
    shown = texts(reader.get(f"{season}/answer"))
    assert "This plan was made before the page was started." in shown


def test_a_folder_of_tables_is_known_and_watched_whatever_the_case_of_its_names(
    tmp_path: Path,
) -> None:
    inputs.folder(tmp_path / "north", inputs.good())
    for file in (tmp_path / "north").iterdir():
        file.rename(file.with_name(file.stem.title() + ".CSV"))
    reader = Reader(tmp_path).enter()
    (entry,) = reader.site.shelf.listed()
    assert entry.name == "north"
    desk = Desk(entry)
    before = desk.read().season.fields[0]
    table = tmp_path / "north" / "Fields.CSV"
    table.write_text(table.read_text("utf-8").replace("80,", "8080,", 1), "utf-8")
    assert desk.read().season.fields[0] != before


def test_a_blank_plan_date_is_read_again_the_next_day(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheets = inputs.good()
    sheets["Farm"] = [row for row in sheets["Farm"] if row[0] != "Plan date"]
    inputs.workbook(tmp_path / "north.xlsx", sheets)
    (entry,) = Reader(tmp_path).site.shelf.listed()
    desk = Desk(entry)
    for day in (date(2027, 3, 1), date(2027, 3, 2)):
        today = type("Today", (date,), {"today": classmethod(lambda _, day=day: day)})
        for module in ("page.desk", "season.read"):
            monkeypatch.setattr(f"planner.{module}.date", today)
        assert desk.read().season.farm.plan_date == day
        assert desk.read() is desk.read()


def test_seasons_wait_for_the_stored_plan_of_their_own_only(
    tmp_path: Path, workbook: bytes
) -> None:
    for name in ("north.xlsx", "south.xlsx"):
        (tmp_path / name).write_bytes(workbook)
    slow, other = Reader(tmp_path).site.shelf.listed()
    desks, begun, free = Desks(), threading.Event(), threading.Event()
    filled: list[Desk] = []

    def fill(desk: Desk) -> None:
        begun.set()
        assert free.wait(30)
        filled.append(desk)

    with ThreadPoolExecutor(3) as threads:
        first = threads.submit(desks.of, slow, fill)
        assert begun.wait(30)
        again = threads.submit(desks.of, slow, filled.append)
        try:
            assert threads.submit(desks.of, other, lambda _: None).result(10).entry == other
            assert not again.done()
        finally:
            free.set()
        assert first.result(30) is again.result(30)
    assert filled == [first.result()]


def test_what_wholedrum_wrote_is_no_season(tmp_path: Path, workbook: bytes) -> None:
    names = ("plan", "plan (2)", "shop", "north study", "settlement", "bill 1 ann", "all seasons")
    ours = render(Book((Sheet("Order", "What to buy.", ()),), Manner()))
    for name in names:
        (tmp_path / f"{name}.xlsx").write_bytes(ours)
    for name in ("study.xlsx", "Bill 12.XLSM"):  # a farmer may call a season so
        (tmp_path / name).write_bytes(workbook)
    reader = Reader(tmp_path).enter()
    assert sorted(e.name for e in reader.site.shelf.listed()) == ["Bill 12", "study"]
    assert [s.name for s in seasons_in(tmp_path)] == ["Bill 12.XLSM", "study.xlsx"]


def test_seasons_of_one_name_have_folders_of_their_own(tmp_path: Path, workbook: bytes) -> None:
    for name in ("a.xlsx", "a.xlsm", "b.xlsx", "c.xlsx"):
        (tmp_path / name).write_bytes(workbook)
    inputs.folder(tmp_path / "b", inputs.good())
    (tmp_path / "c").mkdir()  # holds no season
    listed = Reader(tmp_path).enter().site.shelf.listed()
    assert {e.path.name: e.plans.name for e in listed} == {
        "a.xlsx": "a.xlsx-plan",
        "a.xlsm": "a.xlsm-plan",
        "b.xlsx": "b.xlsx-plan",
        "b": "b-plan",
        "c.xlsx": "c-plan",
    }


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("North: 2027.xlsx", "North 2027.xlsx"),
        ("North 2027.xlsx", "North 2027.xlsm"),
        ("N" * 61 + " one.xlsx", "N" * 61 + " two.xlsx"),
    ],
)
def test_only_the_same_name_replaces_what_was_dropped(
    reader: Reader, workbook: bytes, one: str, other: str
) -> None:
    first, second = reader.drop(one, workbook), reader.drop(other, workbook)
    assert first != second
    names = sorted(e.name for e in reader.site.shelf.listed())
    assert len(set(names)) == 2
    assert names[1].endswith("(2)") or names[0].endswith("(2)")
    assert all(len(name) <= 60 for name in names)
    assert reader.drop(one, workbook) == first
    assert reader.drop(other, workbook) == second
    assert len(reader.site.shelf.listed()) == 2


def test_seasons_of_the_folder_are_known_by_their_whole_names(
    tmp_path: Path, workbook: bytes
) -> None:
    names = ["Miller & Sons", *("N" * 61 + f" {end}" for end in ("one", "two"))]
    for name in names:
        (tmp_path / f"{name}.xlsx").write_bytes(workbook)
    assert sorted(e.name for e in Reader(tmp_path).site.shelf.listed()) == names


FULL = "the disk of my-farm is full; free some space"


def no_room(*_args: object, **_kwargs: object) -> None:
    raise OutputError(FULL)


def test_a_plan_whose_files_could_not_be_written_says_so(
    reader: Reader, workbook: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not that they are still being written."""
    season = reader.drop("small.xlsx", workbook)
    monkeypatch.setattr(api, "write", no_room)
    reader.planned(season)
    assert "The disk of my-farm is full; free some space." in texts(reader.get(f"{season}/live"))
    said = texts(reader.get(f"{season}/files"))
    assert "No files could be written. The disk of my-farm is full; free some space." in said
    assert "still being written" not in said
    monkeypatch.undo()
    reader.planned(season)
    assert "plan.xlsx" in reader.get(f"{season}/files")


def test_what_is_dropped_on_a_full_disk_leaves_nothing_behind(
    reader: Reader, workbook: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = reader.site.shelf.folder / STORE

    def full(path: Path, _content: bytes) -> int:
        path.touch()
        raise OSError(errno.ENOSPC, "No space left on device", str(path))

    monkeypatch.setattr(Path, "write_bytes", full)
    said = texts(reader.drop("small.xlsx", workbook, 500))
    assert f"{store}" in said
    assert "No space left on device." in said
    monkeypatch.undo()
    monkeypatch.setattr("planner.page.start_views.write_blank", no_room)
    assert "The disk of my-farm is full; free some space." in texts(reader.post("/demo", 500))
    assert list(store.iterdir()) == []


def test_a_folder_that_is_none_and_a_taken_port_are_said_in_a_sentence(tmp_path: Path) -> None:
    import socket

    with pytest.raises(OutputError, match="is no folder"):
        serve(tmp_path / "nothing")
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(OutputError, match="can't be used"):
            serve(tmp_path, port=taken.getsockname()[1], browser=False)


# --- try it -------------------------------------------------------------------------------------


def fields(html: str) -> dict[str, str]:
    """Names and values of the fields to try things in."""
    found = re.findall(r'<input name="([a-z]+-[\d-]+)" value="([^"]*)" aria-label="([^"]*)"', html)
    return {label: name for name, _, label in found}


def figures(html: str) -> dict[str, str]:
    """Large figures of a page by what stands over them."""
    found = re.findall(r"<dt>(.*?)</dt><dd><span class=\"big\">(.*?)</span>", html, re.DOTALL)
    return {texts(label): texts(value) for label, value in found}


def money(text: str) -> float:
    return float(re.sub(r"[^\d.-]", "", text))


def test_unchanged_figures_give_the_plan_back(planned: tuple[Reader, str]) -> None:
    reader, season = planned
    reader.post(f"{season}/recount", reset="1")
    made = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None).made
    seen = figures(reader.get(f"{season}/try"))
    assert money(seen["Total compared"]) == round(made.plan.cost.total, 2)
    assert seen["Products short"] == "0"
    assert seen["Seed short, units"] == "0.0"


def test_another_order_is_counted_as_by_hand(tmp_path: Path, tiny: Path) -> None:
    """The tiny season, by hand: 240 fl oz are needed; a jug holds 128 for $100, a keg 320 for $240.

    Its plan is two jugs. One jug is short; one keg is enough and costs $40 more than two jugs.
    """
    reader = Reader(tmp_path).enter()
    season = f"/s/{reader.site.shelf.listed()[0].key}"
    reader.planned(season)
    desk = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None)
    names = fields(reader.get(f"{season}/try"))
    jug = names["Containers to order: Green Cap, jug, "]
    keg = names["Containers to order: Green Cap, keg, "]
    total = desk.made.plan.cost.total
    part = reader.post(f"{season}/recount?part=1", **{jug: "1"})
    assert figures(part)["Products short"] == "1"
    assert money(figures(part)["Total compared"]) == pytest.approx(total - 100)
    part = reader.post(f"{season}/recount?part=1", **{jug: "0", keg: "1"})
    assert figures(part)["Products short"] == "0"
    assert money(figures(part)["Total compared"]) == pytest.approx(total + 40)
    assert "$40.00 more than planned" in texts(part)
    wrong = reader.post(f"{season}/recount?part=1", **{jug: "two"})
    assert "you typed &#39;two&#39;" in wrong
    assert figures(wrong)["Products short"] == "0"
    kept = {"key": reader.keys.form, names["Land of fields: Home 80"]: "81", "scenario": "More"}
    answer = reader.client.post(f"{season}/keep", data=kept, headers=OURS)
    assert answer.status_code == 409
    assert "Only a workbook can be copied" in answer.text


def test_changed_figures_are_read_as_cells_and_counted_by_hand(
    planned: tuple[Reader, str],
) -> None:
    """By hand: twice the rate of the only recipe with a product is twice what its seed takes."""
    reader, season = planned
    desk = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None)
    names = fields(reader.get(f"{season}/try"))
    recipe = next(r for r in desk.made.season.recipes if r.rates)
    rate = recipe.rates[0]
    number, unit = rate.written.split(" ", 1)
    name = names[f"Rates of recipes: {recipe.name}, {rate.product}"]
    part = reader.post(f"{season}/recount?part=1", **{name: f"{2 * float(number):g} {unit}"})
    assert desk.typed == {name: f"{2 * float(number):g} {unit}"}
    from planner.season.domain import WhatIf

    change = WhatIf(
        "", "Recipes", f"{recipe.name} / {rate.product}", "Rate", f"{2 * float(number):g} {unit}"
    )
    now = changed_season(desk.reading.cells, [change])
    tried = try_out(desk.made.plan, now, None)
    before = {u.product: u.need for u in desk.made.plan.products}
    after = {u.product: u.need for u in tried.plan.products}
    assert after[rate.product] > before[rate.product]
    assert money(figures(part)["Total compared"]) == round(tried.plan.cost.total, 2)
    broken = reader.post(f"{season}/recount?part=1", **{name: "a lot"})
    assert "you typed “a lot”" in texts(broken)
    assert "Total compared" not in figures(broken)


def test_a_field_of_no_acres_is_left_out(planned: tuple[Reader, str]) -> None:
    reader, season = planned
    desk = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None)
    field = desk.made.season.fields[-1]
    name = fields(reader.get(f"{season}/try"))[f"Land of fields: {field.name}"]
    part = reader.post(f"{season}/recount?part=1", **{name: "0"})
    assert "Total compared" in figures(part)
    assert "you typed" not in texts(part)
    reader.post(f"{season}/recount", reset="1")


def test_a_bug_in_counting_does_not_keep_the_page_from_opening(
    planned: tuple[Reader, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    reader, season = planned
    name = next(iter(fields(reader.get(f"{season}/try")).values()))

    def broken(*_: object) -> None:
        raise KeyError(name)

    client = TestClient(reader.app, base_url=HERE, raise_server_exceptions=False)
    client.cookies = reader.client.cookies
    data = {"key": reader.keys.form, name: "7"}
    with monkeypatch.context() as now:
        now.setattr("planner.page.try_views.try_out", broken)
        answer = client.post(f"{season}/recount?part=1", data=data, headers=OURS)
    assert answer.status_code == 500
    assert "Nothing is lost" in answer.text
    assert f'<input name="{name}" value="7"' not in reader.get(f"{season}/try")


def test_what_was_typed_is_still_there_after_a_reload(planned: tuple[Reader, str]) -> None:
    reader, season = planned
    name = next(iter(fields(reader.get(f"{season}/try")).values()))
    reader.post(f"{season}/recount", **{name: "7"})
    assert f'<input name="{name}" value="7"' in reader.get(f"{season}/try")
    reader.post(f"{season}/recount", reset="1")
    assert f'<input name="{name}" value="7"' not in reader.get(f"{season}/try")


def test_changes_are_kept_as_a_scenario_of_a_copy(
    planned: tuple[Reader, str], tmp_path: Path
) -> None:
    reader, season = planned
    desk = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None)
    before = desk.entry.path.read_bytes()
    field = desk.made.season.fields[0]
    name = fields(reader.get(f"{season}/try"))[f"Land of fields: {field.name}"]
    data = {"key": reader.keys.form, name: f"{field.acres + 10:g}", "scenario": "Ten more"}
    copy = reader.client.post(f"{season}/keep", data=data, headers=OURS)
    assert copy.headers["content-disposition"].startswith("attachment")
    path = tmp_path / "copy.xlsx"
    path.write_bytes(copy.content)
    assert api.load(path).fields[0].acres == field.acres
    assert api.load(path, "Ten more").fields[0].acres == pytest.approx(field.acres + 10)
    assert desk.entry.path.read_bytes() == before
    for scenario in ("", "More spare"):
        data["scenario"] = scenario
        assert reader.client.post(f"{season}/keep", data=data, headers=OURS).status_code == 409
    reader.post(f"{season}/recount", reset="1")


@pytest.mark.slow
def test_planning_again_with_a_change_leaves_the_old_plan_beside_it(
    tmp_path: Path, workbook: bytes
) -> None:
    reader = Reader(tmp_path).enter()
    season = reader.drop("small.xlsx", workbook)
    reader.planned(season)
    desk = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None)
    first, files = desk.made, {f.path: f.content for f in desk.made.files}
    field = first.season.fields[0]
    name = fields(reader.get(f"{season}/try"))[f"Land of fields: {field.name}"]
    reader.finished(season, "again", seconds="2", **{name: f"{field.acres - 1:g}"})
    assert desk.before is first or desk.before.plan == first.plan
    assert desk.made.season.fields[0].acres == pytest.approx(field.acres - 1)
    said = texts(reader.get(f"{season}/beside"))
    assert f"${first.plan.cost.total:,.2f}" in said
    assert f"${desk.made.plan.cost.total:,.2f}" in said
    rows = rows_of(reader.get(f"{season}/beside"), "plans")
    names, totals = ("as it is", "with your changes"), [row[3] for row in rows[1:]]
    assert (rows[0][3], *(row[0] for row in rows[1:])) == ("Its plan if it does not happen", *names)
    assert totals == [f"${first.plan.cost.total:,.2f}", "not possible"]  # an acre is not planted
    assert {p: p.read_bytes() for p in files} == files
    assert "They are kept in" in texts(reader.get(f"{season}/files"))
    tried = f"Tried: Acres of {field.name} is {field.acres - 1:g} acres."
    assert tried in texts(reader.get(f"{season}/answer"))
    assert tried in texts(reader.get(f"{season}/files"))
    reader.post(f"{season}/back")
    assert desk.made.plan == first.plan
    assert rows_of(reader.get(f"{season}/beside"), "plans") == rows
    assert "Tried:" not in texts(reader.get(f"{season}/files"))


@pytest.mark.parametrize("number", ["9" * 5000, "99", "-1", "x", "٣"])
def test_a_file_of_no_such_number_is_not_found(planned: tuple[Reader, str], number: str) -> None:
    reader, season = planned
    reader.get(f"{season}/files/{number}", 404)


@pytest.mark.slow
def test_files_are_those_of_the_plan_that_is_shown(tmp_path: Path, workbook: bytes) -> None:
    reader = Reader(tmp_path).enter()
    season = reader.drop("small.xlsx", workbook)
    reader.planned(season)
    desk = reader.site.desks.of(reader.site.shelf.get(season[3:]), lambda d: None)
    field = desk.made.season.fields[0]
    name = fields(reader.get(f"{season}/try"))[f"Land of fields: {field.name}"]
    for less in (1, 2):
        reader.finished(season, "again", seconds="2", **{name: f"{field.acres - less:g}"})

    def acres_in_files() -> float:
        names = re.findall(r"files/(\d+)\" download>([^<]+)", reader.get(f"{season}/files"))
        number = next(number for number, name in names if name == "plan.json")
        plan = reader.client.get(f"{season}/files/{number}").json()
        lines = (*plan["planting"], *plan["shortages"])
        return sum(p["acres"] for p in lines if p["field"] == field.name)

    assert acres_in_files() == pytest.approx(field.acres - 2)
    assert "They are kept in" in texts(reader.get(f"{season}/files"))
    reader.post(f"{season}/back")
    assert acres_in_files() == pytest.approx(field.acres - 1)
    assert "no longer kept in a folder" in texts(reader.get(f"{season}/files"))


def test_a_workbook_saved_again_in_its_folder_is_still_kept_there(tmp_path: Path) -> None:
    """A spreadsheet program that saves plan.xlsx makes no other plan of it."""
    for name in ("plan.json", "plan.ics", "plan.xlsx"):
        (tmp_path / name).write_bytes(b"as written")
    files = take(tmp_path / name for name in ("plan.json", "plan.ics", "plan.xlsx"))
    assert kept_in(files) == tmp_path
    (tmp_path / "plan.xlsx").write_bytes(b"saved again")
    assert kept_in(files) == tmp_path
    (tmp_path / "plan.json").write_bytes(b"another plan")
    assert kept_in(files) is None
    (tmp_path / "plan.json").write_bytes(b"as written")
    (tmp_path / "plan.xlsx").unlink()
    assert kept_in(files) is None


def test_files_for_programs_are_listed_last(tmp_path: Path) -> None:
    names = ("plan.json", "notes.txt", "plan.ics", "plan.xlsx", "shop.xlsx")
    files = [Taken(tmp_path / name, b"") for name in names]
    shown = [(number, name) for number, name, _, _ in listed(files)]
    assert shown == [(3, names[3]), (4, names[4]), (2, names[2]), (0, names[0]), (1, names[1])]


def test_what_is_no_workbook_is_named_as_it_came_and_offers_no_marked_copy(reader: Reader) -> None:
    said = reader.get(reader.drop("letter.xlsx", b"Dear neighbor,"))
    assert "<h2>letter.xlsx</h2>" in said
    assert "whole file" in said
    assert "season.xlsx" not in said
    assert "/marked" not in said
    assert "drop it here again" in said


def test_faults_of_a_season_of_the_folder_are_gone_when_the_page_is_loaded_again(
    tmp_path: Path, workbook: bytes
) -> None:
    sheets = inputs.put(inputs.good(), "Fields", 2, "Acres", "lots")
    own = inputs.workbook(tmp_path / "own.xlsx", sheets)
    reader = Reader(tmp_path).enter()
    season = f"/s/{reader.site.shelf.listed()[0].key}"
    said = reader.get(season)
    assert "load this page again" in said
    assert f'href="{season}">Load it again' in said
    assert "drop" not in texts(said).casefold()
    own.write_bytes(workbook)
    assert "no faults found" in reader.get(season)
