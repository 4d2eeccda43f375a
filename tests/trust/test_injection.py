"""Texts from strangers stay texts: in every csv, workbook and page we write, and on the terminal."""

import csv
import html.parser
import json
import re
import subprocess
import sys
import zipfile

import openpyxl
import pandas as pd
import pytest
from hostile_case import CONTROLS, FORMULAS, HOSTILE, MARKUP
from hypothesis import given
from hypothesis import strategies as st

from bomaudit.edited import read_edited
from bomaudit.glossary import BOM
from bomaudit.report.files import write_csv
from bomaudit.report.pieces import SafeConsole
from bomaudit.safe_text import escaped_json, guard, printable, unguard
from bomaudit.tables import read_table

LIVE = "=+-@\t\r＝＋－＠"
NUMBER = re.compile(r"[+-]?\d+(\.\d+)?(e[+-]?\d+)?", re.IGNORECASE)
riskies = st.text(alphabet=st.sampled_from([*"=+-@\t\r\n;|'\",ab 1＝"]), max_size=12)


def is_live(cell, blanks=" \u00a0\n"):
    """What a spreadsheet may run: a cell that starts, after blanks, with a mark of a formula and is no number."""
    plain = cell.lstrip(blanks)
    return plain[:1] in set(LIVE) - {""} and not NUMBER.fullmatch(plain)


def read_cells(path, delimiter=","):
    with path.open(encoding="utf-8", newline="") as file:
        return [cell for row in csv.reader(file, delimiter=delimiter) for cell in row]


def test_no_csv_file_has_a_live_cell_by_whatever_separator_it_is_opened(hostile_report):
    files = sorted(hostile_report.rglob("*.csv"))
    assert len(files) == 12
    for path in files:
        for delimiter in (",", ";", "|", "\t"):
            quoted = read_cells(path, delimiter)
            unquoted = re.split(rf"[\r\n{re.escape(delimiter)}]", path.read_text(encoding="utf-8"))
            split = (c for c in (*quoted, *unquoted) if is_live(c, ""))
            live = [c for c in quoted if is_live(c)] if delimiter == "," else list(split)
            assert not live, (path.name, delimiter, live[:3])


def test_hostile_texts_are_in_the_files_as_they_were(hostile_report):
    cells = {unguard(c) for p in hostile_report.rglob("*.csv") for c in read_cells(p)}
    assert not [t for t in (*FORMULAS, *MARKUP) if t.strip() not in {c.strip() for c in cells}]


def test_workbook_has_only_our_formulas_and_no_links(hostile_report):
    path = hostile_report / "report.xlsx"
    book, texts = openpyxl.load_workbook(path), set()
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    assert not re.search(r"HYPERLINK|cmd|SUM\(1,1\)|1\+1|-2\+3|invalid", str(cell.value)), cell
                    assert cell.value.startswith(
                        (
                            "=$",
                            "=(",
                            "=IF(",
                            "=INDEX(",
                            "=LOOKUP(2,1/EXACT(",
                            "=COUNTIF",
                            "=SUM",
                            "=ROUND",
                            "=1-",
                            "=LN",
                            "=decision",
                            "=IFERROR",
                            "=MAX",
                            "=MIN",
                            "=-",
                        )
                    ), cell
                elif isinstance(cell.value, str):
                    texts.add(cell.value)
    assert {t for t in FORMULAS if t == t.strip()} <= texts, "they stand there as they were"
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
        assert not [n for n in names if "externalLink" in n or "vbaProject" in n]
        xml = b"".join(archive.read(n) for n in names)
    assert b"<hyperlink" not in xml
    assert b'TargetMode="External"' not in xml


class Page(html.parser.HTMLParser):
    """Elements, attributes and texts of a page as a browser takes them apart."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.elements, self.texts, self.scripts, self.inside = [], [], [], ""

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self.inside = tag

    def handle_data(self, data):
        (self.scripts if self.inside == "script" else self.texts).append(data)


@pytest.fixture(scope="module")
def page(hostile_report):
    parsed = Page()
    parsed.feed((hostile_report / "report.html").read_text(encoding="utf-8"))
    return parsed


def test_page_has_no_element_attribute_or_script_of_a_stranger(page):
    tags = [tag for tag, _ in page.elements]
    assert tags.count("script") == 3
    assert not {"img", "iframe", "object", "embed", "base", "form"} & {t for t, a in page.elements if t != "form"}
    assert [a for t, a in page.elements if t == "form"] == [{"method": "dialog"}]
    assert not [a for _, a in page.elements if any(k.startswith("on") for k in a)]
    links = [a.get("href", a.get("src", "")) for _, a in page.elements if "href" in a or "src" in a]
    assert links
    assert all(link.startswith("#") for link in links), "nothing leads out of the page"
    assert "</title><script>alert(1)</script>=1+1" in "".join(page.texts), "shown, not run"


def test_data_inside_the_page_are_what_they_were(page):
    data = json.loads(page.scripts[0])
    column = data["lines"]["description"]
    texts = column if isinstance(column, list) else [column["values"][i] for i in column["at"]]
    assert any("</script><script>alert(1)</script>" in t for t in texts)


def test_page_forbids_the_network_and_every_other_script(page):
    (policy,) = [a["content"] for t, a in page.elements if a.get("http-equiv") == "Content-Security-Policy"]
    rules = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert not {"connect-src", "frame-src", "font-src", "media-src", "object-src", "worker-src"} & set(rules)
    assert re.fullmatch(r"'sha256-[\w+/=]{44}' 'sha256-[\w+/=]{44}'", rules["script-src"])
    assert rules["base-uri"] == rules["form-action"] == "'none'"
    assert rules["img-src"] == "data:"


@pytest.mark.parametrize("command", ["audit", "check", "requote", "explain", "reconcile"])
def test_no_control_character_reaches_a_terminal(hostile_folder, tmp_path, command):
    more = {
        "audit": ["--out", str(tmp_path / "o")],
        "reconcile": ["--out", str(tmp_path / "r")],
        "explain": ["P-000"],
    }.get(command, [])
    for as_json in ([], ["--json"]) if command == "audit" else ([],):
        done = subprocess.run(
            [
                sys.executable,
                "-c",
                "from bomaudit.cli import main; main()",
                command,
                str(hostile_folder),
                *more,
                *as_json,
            ],
            capture_output=True,
            check=False,
        )
        said = (done.stdout + done.stderr).decode()
        assert done.returncode == 0, said[-500:]
        assert said
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", said)


@pytest.mark.parametrize("text", CONTROLS)
def test_a_colour_terminal_gets_our_control_codes_only(text):
    console = SafeConsole(force_terminal=True, color_system="truecolor", width=60)
    with console.capture() as held:
        console.print(f"[bold]{text.replace('[', chr(92) + '[')}[/bold]", highlight=False)
    sent = re.sub(r"\x1b\[[\d;]*m", "", held.get())
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]", sent)


def test_control_characters_in_cells_are_dropped_and_said(tmp_path):
    (tmp_path / "bom.csv").write_text("Part number,Description,Qty,Unit price EUR\nA,red \x1b[31mplate\x9b1m,2,3.5\n")
    got = read_table(tmp_path / "bom.csv", BOM)
    assert got.frame["description"].tolist() == ["red [31mplate1m"]
    (said,) = [f for f in got.findings if f.code == "T027"]
    assert (said.row, said.column) == (2, "B")


@given(riskies)
def test_guarding_is_undone_exactly_and_leaves_nothing_live(text):
    guarded = guard(text)
    assert unguard(guarded) == text
    assert not [c for c in re.split(r"[;|\t\r\n]", guarded) if is_live(c, "")]
    assert not is_live(guarded)


def test_texts_that_cannot_become_formulas_are_left_alone():
    for text in ("plate 3-4", "a=b", "M6 + nut", "-", "'quoted'", "it's", "x; y", "5 °C; 'a'", "a\nb", ""):
        assert guard(text) == (text if text != "-" else "'-")


@given(st.lists(riskies.filter(lambda t: t == t.strip()), min_size=1, max_size=6))
def test_a_csv_file_of_ours_reads_back_as_it_was(texts):
    import io  # noqa: PLC0415

    frame = pd.DataFrame(
        {"name": pd.Series(["x", *texts], dtype="str"), "other": pd.Series(["y"] * (len(texts) + 1), dtype="str")}
    )
    held = io.StringIO()
    write_csv(frame, held)
    rows = [cells["name"] for _, cells in read_edited(held.getvalue().encode()).rows]
    assert rows == ["x", *(t.replace("\r\n", "\n").replace("\r", "\n") for t in texts)]


def test_part_numbers_of_our_files_match_when_they_come_back(tmp_path):
    numbers = ["-5A", "=S", "@7", "'x", "A-1", "''+2"]
    frame = pd.DataFrame(
        {
            "part_no": pd.Series(numbers, dtype="str"),
            "description": pd.Series(["nut"] * 6, dtype="str"),
            "qty": 1.0,
            "unit_cost": 2.5,
            "currency": "EUR",
        }
    )
    write_csv(frame, tmp_path / "bom.csv")
    assert read_table(tmp_path / "bom.csv", BOM).frame["part_no"].tolist() == numbers


def test_json_on_the_terminal_is_the_same_json():
    text = json.dumps({"a": "".join(HOSTILE) + "\x7f\u2066"}, ensure_ascii=False)
    assert json.loads(escaped_json(text)) == json.loads(text)
    assert printable(escaped_json(text)) == escaped_json(text)
