"""Files of strangers reach nothing but their own folder, run nothing, cost little, and tell nobody."""

import ast
import io
import os
import re
import socket
import stat
import subprocess
import sys
import time
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner

from bomaudit.audit import audit, open_audit
from bomaudit.cli import app, main
from bomaudit.findings import BadInput
from bomaudit.glossary import BOM, QUOTES
from bomaudit.history.actions import FILE as ACTIONS
from bomaudit.history.store import MANIFEST, store
from bomaudit.report.files import NAMES as REPORT
from bomaudit.report.files import UNUSABLE, write_all
from bomaudit.report.finance_files import NAMES as FINANCE
from bomaudit.safe_text import file_name_trouble
from bomaudit.tables import read_table
from bomaudit.tables.cells import amounts, flags, texts
from bomaudit.tables.dates import dates
from bomaudit.tables.files import open_book
from bomaudit.tables.headers import fold, understand
from bomaudit.tables.places import input_label, locate_input
from bomaudit.tables.sheets import columns_of

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = sorted((ROOT / "bomaudit").rglob("*.py"))
BILL = (
    "Part number,Description,Qty,Unit price EUR,Cost date\nA-1,dc motor,2,41.07,2019-03-31\n"
    "A-2,nut M6,8,0.29,2019-03-31\n"
)
SETTINGS = '[audit]\nas_of = 2026-06-30\ncurrency = "EUR"\nannual_volume = 1000\n[files]\nbom = {}\n'
LONGEST = 32_767
"""Characters of the largest cell of a spreadsheet."""


def make_audit(folder, bom='"bom.csv"'):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "audit.toml").write_text(SETTINGS.format(bom))
    (folder / "bom.csv").write_text(BILL)
    return folder


# ---------------------------------------------------------------- files outside the folder


@pytest.mark.parametrize(
    "name",
    [
        "../outside.csv",
        "a/../../outside.csv",
        "..\\outside.csv",
        "sub/../..",
        "C:outside.csv",
        "link.csv",
        "linked/outside.csv",
        "\\\\server\\share\\x.csv",
        "a\x00b",
    ],
)
def test_a_relative_name_does_not_leave_the_folder(tmp_path, name):
    folder = make_audit(tmp_path / "audit")
    (tmp_path / "outside.csv").write_text(BILL)
    (folder / "link.csv").symlink_to(tmp_path / "outside.csv")
    (folder / "linked").symlink_to(tmp_path)
    with pytest.raises(BadInput) as refused:
        locate_input(folder, name)
    assert refused.value.findings[0].code == "S015"


def test_a_folder_that_reaches_out_is_not_read(tmp_path):
    (tmp_path / "outside.csv").write_text(BILL)
    folder = make_audit(tmp_path / "audit", '"../outside.csv"')
    with pytest.raises(BadInput) as refused:
        open_audit(folder)
    assert [f.code for f in refused.value.findings] == ["S015"]
    assert "41.07" not in str(refused.value)


def test_a_file_named_in_full_is_read_and_said(tmp_path):
    outside = tmp_path / "outside.csv"
    outside.write_text(BILL)
    opened = open_audit(make_audit(tmp_path / "audit", f"'{outside}'"))
    assert len(opened.inputs.tables["bom"]) == 2
    assert [f.code for f in opened.findings if f.code == "S014"]
    assert list(opened.inputs.hashes) == ["outside.csv"], "its folders are not told"


def test_names_within_the_folder_stay_apart(tmp_path):
    folder = make_audit(tmp_path / "audit")
    (folder / "a").mkdir()
    path, said = locate_input(folder, "a/../bom.csv")
    assert (path.resolve(), said) == (folder / "bom.csv", [])
    assert input_label("a/bom.csv") == "a/bom.csv" != input_label("b/bom.csv")


# ---------------------------------------------------------------- nothing is run, nothing is unpickled


def calls_of(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func), node


def test_nothing_in_the_package_runs_or_revives_what_it_reads():
    forbidden = {
        "eval",
        "exec",
        "compile",
        "__import__",
        "os.system",
        "os.popen",
        "pd.read_pickle",
        "pickle.load",
        "pickle.loads",
        "marshal.loads",
        "yaml.load",
        "shelve.open",
        "joblib.load",
        "np.load",
    }
    for path in PACKAGE:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"^\s*(import|from) (pickle|marshal|shelve|joblib|dill|yaml)\b", text, re.MULTILINE), path
        for name, node in calls_of(path):
            assert name not in forbidden, (path, name)
            assert not [k for k in node.keywords if k.arg in ("allow_pickle", "shell")], path


def test_nothing_in_the_package_speaks_to_a_network():
    modules = r"(socket|ssl|http|urllib|ftplib|smtplib|requests|httpx|aiohttp|webbrowser|xmlrpc)"
    for path in PACKAGE:
        assert not re.search(rf"^\s*(import|from) {modules}\b", path.read_text(encoding="utf-8"), re.MULTILINE), path


class NoNetworkError(AssertionError):
    """Somebody tried to open a connection."""


def test_an_audit_works_without_a_network(tmp_path, monkeypatch, sample_folder):
    def refuse(*_args, **_kwargs):
        raise NoNetworkError

    for name in ("socket", "create_connection", "getaddrinfo", "gethostbyname", "socketpair"):
        monkeypatch.setattr(socket, name, refuse)
    out = tmp_path / "out"
    for command in (["check"], ["audit", "--out", str(out)], ["reconcile", "--out", str(tmp_path / "r")], ["requote"]):
        done = CliRunner().invoke(app, [command[0], str(sample_folder), *command[1:]])
        assert done.exit_code == 0, done.output[-300:]
    assert (out / "report.html").stat().st_size > 100_000


def test_every_process_of_an_audit_works_without_a_network(tmp_path):
    """In a network of its own with nothing in it: whatever tried to leave would fail."""
    apart = ["unshare", "--user", "--map-root-user", "--net"]
    try:
        subprocess.run([*apart, "true"], check=True, capture_output=True, timeout=20)
    except (OSError, subprocess.SubprocessError):
        pytest.skip("this system does not let a test have a network of its own")
    code = "from bomaudit.cli import main; main()"
    done = subprocess.run(
        [
            *apart,
            sys.executable,
            "-c",
            code,
            "audit",
            str(make_audit(tmp_path / "audit")),
            "--out",
            str(tmp_path / "o"),
        ],
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"XDG_CACHE_HOME": str(tmp_path / "cache")},
    )
    assert done.returncode == 0, done.stderr


# ---------------------------------------------------------------- what is left behind, and what is said


def test_temporary_files_are_private_and_gone(tmp_path, monkeypatch):
    """With a mask that hides nothing, what is being written is for its owner only; afterwards there is none of it."""
    seen = {}

    def writer(path):
        seen["mode"] = stat.S_IMODE(path.parent.parent.stat().st_mode)
        path.write_text("x")

    old = os.umask(0)
    try:
        write_all({"a.csv": writer}, tmp_path / "out")
    finally:
        os.umask(old)
    assert seen["mode"] == 0o700
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_run_leaves_nothing_in_the_temporary_folder(tmp_path, sample_folder):
    temporary = tmp_path / "tmp"
    temporary.mkdir()
    code = "from bomaudit.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, "audit", str(sample_folder), "--out", str(tmp_path / "out"), "--quiet"],
        env=os.environ | {"TMPDIR": str(temporary)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", ""), "quiet is quiet: no price is logged anywhere"
    assert list(temporary.iterdir()) == []
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out", "tmp"]


def test_no_module_logs():
    for path in PACKAGE:
        assert not re.search(r"^\s*(import|from) (logging|syslog)\b", path.read_text(encoding="utf-8"), re.MULTILINE)


def test_an_error_of_ours_shows_no_traceback_no_environment_and_no_file(monkeypatch, capsys, tmp_path):
    monkeypatch.setenv("SECRET_TOKEN", "s3cret-of-the-shell")
    monkeypatch.setattr(sys, "argv", ["bomaudit", "check", str(make_audit(tmp_path / "audit"))])

    def broken(*_args, **_kwargs):
        own = {"price": 41.07, "token": os.environ["SECRET_TOKEN"]}
        raise RuntimeError("cells: " + "41.07\x1b[2J " * 400) from KeyError(str(own))

    monkeypatch.setattr("bomaudit.opened.open_audit", broken)
    with pytest.raises(SystemExit) as ended:
        main()
    said = capsys.readouterr()
    assert ended.value.code == 3
    assert "Traceback" not in said.err + said.out
    assert "s3cret" not in said.err + said.out
    assert "\x1b" not in said.err
    assert len(said.err) < 400


# ---------------------------------------------------------------- bombs, and texts made to be slow


def test_a_bomb_of_many_parts_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("bomaudit.tables.files.MAX_UNPACKED", 2 << 20)
    book = openpyxl.Workbook()
    book.active.append(["Part number", "Qty", "Price"])
    book.save(tmp_path / "bom.xlsx")
    with zipfile.ZipFile(tmp_path / "bom.xlsx", "a", zipfile.ZIP_DEFLATED) as archive:
        for i in range(40):
            archive.writestr(f"xl/media/{i}.bin", b"\0" * (100 << 10))
    with pytest.raises(BadInput) as refused:
        read_table(tmp_path / "bom.xlsx", BOM)
    assert refused.value.findings[0].code == "T005"


SLOW = {
    "digits": "1" * LONGEST,
    "groups": "1," * (LONGEST // 2),
    "points": "1." * (LONGEST // 2),
    "spaces": " " * LONGEST + "x",
    "signs": "-" * LONGEST,
    "brackets": "(" * LONGEST,
    "letters": "a" * LONGEST + "!",
    "words": "per " * 8000,
    "money": "€ " * 16_000 + "1",
    "dates": "2020-" * 6000,
    "slashes": "1/" * 16_000,
    "ranges": "1-2" * 10_000,
    "quotes": "\"'" * 16_000,
    "mixed": ("1 000,00 EUR per 100 " * 1600)[:LONGEST],
    "hash": "##0.00;[Red]" * 2700,
    "dots": ".1" * 16_000,
    "percent": "1%" * 16_000,
    "approx": "~" * LONGEST,
    "exponents": "1e" * 16_000,
    "totals": "total sum " * 3200,
    "levels": "1.1." * 8000,
    "bom": "\ufeff" * 30_000,
    "zalgo": "a\u0301" * 16_000,
}


@pytest.mark.parametrize("kind", SLOW)
def test_a_cell_made_to_be_slow_is_not(tmp_path, kind):
    text = SLOW[kind]
    start = time.process_time()
    (cells,) = columns_of([[text], ["3,50"], [text[:-1]]])
    for read in (amounts, dates, flags, texts):
        read(cells, "") if read is amounts else read(cells)
    fold(text)
    understand(text)
    rows = [["Part number", "Description", "Qty", "Unit price EUR", "Cost date", "Level"]]
    rows += [["A-1", "motor", "2", "3.5", "2020-01-01", "1"], *([[c] * 6 for c in (text, text[1:])])]
    rows += [[text if j == i else "2" for j in range(6)] for i in range(6)]
    body = "\n".join(",".join('"' + c.replace('"', '""') + '"' for c in row) for row in rows)
    for name, table, head in (
        ("bom.csv", BOM, ""),
        ("q.csv", QUOTES, ""),
        ("h.csv", BOM, f'"{text.replace(chr(34), "")}",Qty\n'),
    ):
        (tmp_path / name).write_text(head + body)
        try:
            read_table(tmp_path / name, table)
        except BadInput:
            continue
    assert time.process_time() - start < 6, "linear in the length: well under a second each"


def test_a_field_of_megabytes_is_read_or_refused(tmp_path):
    for size in (200_000, (1 << 24) + 10):
        (tmp_path / "bom.csv").write_text('Part number,Qty,Unit price EUR\nA,2,3.5\nB,"' + "x" * size + '",1\n')
        try:
            assert read_table(tmp_path / "bom.csv", BOM).frame["part_no"].tolist() == ["A", "B"]
        except BadInput as refused:
            assert refused.findings  # noqa: PT017


# ---------------------------------------------------------------- names every system can keep; threats and their tests


@pytest.mark.parametrize(
    "name", ["con", "NUL.csv", "com1", "LPT9.txt", "a:b", "a<b", "x\x01", "a/b", "dots.", "blank ", "", "..", 'q"']
)
def test_names_that_windows_cannot_keep_are_told(name):
    assert file_name_trouble(name)


def test_every_name_we_write_can_be_kept_on_every_system(tmp_path):
    fixed = [*REPORT, *FINANCE, *(UNUSABLE + n for n in REPORT), ACTIONS, MANIFEST, "audit.toml"]
    assert not [n for n in fixed if file_name_trouble(n)]
    assert len({n.lower() for n in REPORT}) == len(REPORT)
    folder = make_audit(tmp_path / "audit", '"bom.x:<y"')
    (folder / "bom.csv").rename(folder / "bom.x:<y")
    stored, _ = store(audit(folder), folder, stored_at=datetime(2026, 7, 1, 12, 30, tzinfo=UTC))
    names = [part for p in stored.folder.rglob("*") for part in p.relative_to(folder).parts]
    assert not [n for n in names if file_name_trouble(n)]
    assert "bom" in names


def test_every_threat_of_the_list_names_tests_that_exist():
    rows = re.search(
        r"\| threat \| defence \| test \|\n\|---\|---\|---\|\n(.*?)\n\n",
        (ROOT / "DEVELOPERS.md").read_text(),
        re.DOTALL,
    )
    assert rows
    for row in rows[1].splitlines():
        named = re.findall(r"`(tests/[\w/.]+)`", re.split(r"(?<!\\)\|", row)[3])
        assert named, row
        assert all((ROOT / n).is_file() for n in named), row


# ---------------------------------------------------------------- workbooks that would end the process

SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
)
FAR = {
    "letters without end": '<row r="1"><c r="A1"><v>1</v></c><c r="Adecision1"><v>1</v></c></row>',
    "small letters": '<row r="1"><c r="A1"><v>1</v></c><c r="zzzzzz1"><v>1</v></c></row>',
    "other quotes": "<row r='1'><c r='A1'><v>1</v></c></row><row r='1048576'><c r='XFD1048576'><v>1</v></c></row>",
    "a row beyond the last": '<row r="1"><c><v>1</v></c></row><row r="4294967290"><c><v>1</v></c></row>',
    "spaced": '<row r="1"><c r="A1"><v>1</v></c></row><row r ="1048576"><c\nr= "XFD1048576"><v>1</v></c></row>',
    "written as entities": '<row r="1"><c r="A1"><v>1</v></c><c r="&#88;FDX1"><v>1</v></c></row>',
    "far ones first": '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row><row r="2"><c r="B2"><v>1</v></c></row>',
}


@pytest.mark.parametrize("how", FAR)
def test_a_sheet_with_a_cell_far_out_is_refused_and_does_not_end_the_process(tmp_path, how):
    with zipfile.ZipFile(tmp_path / "base.xlsx", "w") as new:
        for name, content in parts_of_a_workbook().items():
            new.writestr(name, SHEET.format(FAR[how]) if name.endswith("sheet1.xml") else content)
    code = "import sys; from bomaudit.cli import main; main()"
    made = make_audit(tmp_path / "audit", '"bom.xlsx"')
    (tmp_path / "base.xlsx").rename(made / "bom.xlsx")
    done = subprocess.run([sys.executable, "-c", code, "check", str(made)], capture_output=True, text=True, check=False)
    assert done.returncode == 2, done.stderr[-300:]
    assert "bom.xlsx" in done.stderr
    assert "Traceback" not in done.stderr


def parts_of_a_workbook():
    book = openpyxl.Workbook()
    book.active.append(["Part number", "Qty", "Price"])
    held = io.BytesIO()
    book.save(held)
    with zipfile.ZipFile(held) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_workbooks_as_spreadsheets_write_them_need_no_trial(tmp_path, monkeypatch, sample_folder):
    def never(_data):
        raise AssertionError("a trial for an ordinary workbook")

    monkeypatch.setattr("bomaudit.tables.files.survives", never)
    for path in (sample_folder / "bom.xlsx", *(ROOT / "sample_boms" / "pressure_washer_messy").glob("*.xlsx")):
        open_book(path)
