"""The page in a browser, from a file: what a reader does with it."""

from __future__ import annotations

import base64
import csv
import importlib.resources
import json
import time
from dataclasses import replace
from importlib.resources import files

import pytest
from conftest import opened
from made_content import made_content
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from bomaudit.report import page as page_
from bomaudit.report.content import by_weight
from bomaudit.report.numbers import Numbers
from bomaudit.report.page_tables import line_rows

AXE = importlib.resources.files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8")


def rows(page, table: str) -> list[list[str]]:
    script = "return [...document.querySelectorAll(`#${arguments[0]} tbody tr`)].filter(r => !r.hidden).map(r => [...r.cells].map(c => c.innerText.trim()))"  # noqa: E501
    return page.execute_script(script, table)


def prefer(page, scheme: str) -> None:
    """Set light or dark; :func:`opened` undoes it."""
    page.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    )


def test_it_opens_without_errors_and_asks_nobody_for_anything(chrome, page_file):
    chrome.get("about:blank")
    chrome.get_log("browser")
    chrome.get_log("performance")
    page = opened(chrome, page_file)
    assert page.get_log("browser") == []
    events = [json.loads(e["message"])["message"] for e in page.get_log("performance")]
    asked = {e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"}
    assert {u for u in asked if not u.startswith(("data:", "blob:"))} == {page_file.as_uri()}


def test_the_policy_of_the_page_stops_a_connection(page):
    answer = page.execute_async_script(
        "const done = arguments[0]; fetch('https://example.org/').then(() => done('sent'), () => done('stopped'))"
    )
    assert answer == "stopped"
    assert any("Content Security Policy" in e["message"] for e in page.get_log("browser"))


def test_figures_of_the_script_are_those_that_were_written_into_the_page(page):
    """Halves too: 2.125 was 2.13 in the script and 2.12 elsewhere."""
    values = [2.125, -2.125, 0.375, 1225.0, -1225.0, 12.125, 0.125, 2.5, 1000.5, 0.0005, 0.0000123, 1234567.0, 99.95]
    code = files("bomaudit.report").joinpath("page.js").read_text(encoding="utf-8")
    code = code[code.index("// ---- numbers") : code.index("const make")]
    script = (
        f"const MISSING = '–', language = 'en'; {code}; return arguments[0].map(x => [price(x), about(x), share(x)])"
    )
    n = Numbers("en")
    assert page.execute_script(script, values) == [[n.price(x), n.about(x), n.share(x)] for x in values]


def test_a_part_number_of_any_length_leaves_room_for_the_figures(chrome, tmp_path):
    made = made_content(30)
    named = made.lines.assign(part_no=made.lines["part_no"].mask(made.lines["line_id"] == "L0001", "W" * 120))
    asked = made.requotes.assign(part_no="W" * 120)
    page_.write(replace(made, lines=named, requotes=asked), tmp_path / "report.html")
    page = opened(chrome, tmp_path / "report.html")
    for table in ("line-table", "ask-table"):
        room, needed = page.execute_script(
            "const t = document.getElementById(arguments[0]); return [t.parentNode.clientWidth, t.scrollWidth]", table
        )
        assert needed <= 1.25 * room, table


def test_a_line_whose_money_is_not_known_is_not_said_to_be_worth_nothing(chrome, tmp_path):
    made = made_content(30)
    bare = replace(made, lines=made.lines.assign(annual_volume=float("nan"), exposure_per_year=float("nan")))
    page_.write(bare, tmp_path / "report.html")
    page = opened(chrome, tmp_path / "report.html")
    said = page.execute_script(
        "return [...document.querySelectorAll('[data-chart=map] .mark-symbol path[aria-label]')].map(p => p.ariaLabel)"
    )
    assert len(said) > 20
    assert all("EUR a year: –" in text for text in said)


def test_every_chart_is_drawn(page):
    charts = page.find_elements(By.CSS_SELECTOR, ".chart")
    assert len(charts) == 2 + 4 * 5 + 1
    assert all(c.find_elements(By.CSS_SELECTOR, "svg[role=img][aria-label]") for c in charts)


def test_lines_are_found_by_text_and_by_status(page):
    box = page.find_element(By.CSS_SELECTOR, '.tools[data-for="line-table"]')
    box.find_element(By.CSS_SELECTOR, "input[type=search]").send_keys("battery")
    assert {r[2] for r in rows(page, "line-table")} == {"battery pack"}
    for pick in box.find_elements(By.CSS_SELECTOR, "input[type=checkbox]"):
        if pick.get_attribute("value") != "stale":
            pick.click()
    found = rows(page, "line-table")
    assert found
    assert all("stale" in r[3] for r in found)


def test_lines_sort_by_number_not_by_letter(page):
    head = page.find_elements(By.CSS_SELECTOR, "#line-table th button")[4]
    head.click()
    booked = [float(r[4].replace(",", "")) for r in rows(page, "line-table")]
    assert booked == sorted(booked, reverse=True)
    assert head.find_element(By.XPATH, "..").get_attribute("aria-sort") == "descending"
    head.click()
    booked = [float(r[4].replace(",", "")) for r in rows(page, "line-table")]
    assert booked == sorted(booked)


def test_more_lines_come_on_demand_and_the_count_says_so(page):
    assert len(rows(page, "line-table")) == 30
    page.find_element(By.ID, "more-lines").click()
    assert len(rows(page, "line-table")) == 60
    assert "60 of 239 lines shown" in page.find_element(By.CSS_SELECTOR, '[data-for="line-table"] output').text


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_script_and_program_write_the_same_figures(chrome, tmp_path, language):
    content = made_content(240, language)
    path = tmp_path / "report.html"
    page_.write(content, path)
    page = opened(chrome, path)
    lines = by_weight(content.lines[content.lines["status"] != ""]).head(30)
    ours = [[c["text"].strip() for c in r] for r in line_rows(content, lines)]
    theirs = [[*r[:3], r[3][2:], *r[4:]] for r in rows(page, "line-table")]
    assert theirs == ours


def test_a_line_opens_in_full_and_closes_by_keyboard(page):
    page.execute_script("location.hash = 'L0002'")
    dialog = page.find_element(By.ID, "line")
    assert dialog.get_attribute("open") is not None
    for said in (
        "From booked to today",
        "Evidence",
        "Why this status",
        "What would make this surer",
        "<b>Ölfilter & Söhne</b>",
    ):
        assert said in dialog.text, said
    page.switch_to.active_element.send_keys(Keys.ESCAPE)
    assert dialog.get_attribute("open") is None


def test_a_rise_of_an_input_is_found_from_the_page_alone(page):
    page.find_element(By.LINK_TEXT, "What if").click()
    section = page.find_element(By.ID, "inputs")
    assert "passed on in full" in section.text or "pass it on in full" in section.text
    page.find_element(By.CSS_SELECTOR, "[aria-controls=effect-table]").send_keys("copper")
    assert {r[1] for r in rows(page, "effect-table")} == {"copper"}
    page.execute_script("location.hash = 'L0001'")
    dialog = page.find_element(By.ID, "line")
    assert "100% of the price follows the USD exchange rate" in dialog.text
    assert "shares of the price that follow an input: copper 25%" in dialog.text


def test_a_decision_opens_by_keyboard_alone(page):
    body = page.find_element(By.TAG_NAME, "body")
    body.send_keys(Keys.TAB)
    for _ in range(40):
        if page.switch_to.active_element.tag_name == "summary":
            break
        page.switch_to.active_element.send_keys(Keys.TAB)
    page.switch_to.active_element.send_keys(Keys.ENTER)
    (decision,) = page.find_elements(By.CSS_SELECTOR, "details[open]")
    assert "What moved, element by element" in decision.text
    assert "membrane: pump" in decision.text


def checked(page, where: str) -> dict[str, dict]:
    run = f"const done = arguments[0]; axe.run({where}).then(done, e => done({{violations: [{{id: String(e)}}]}}))"
    return {v["id"]: v for v in page.execute_async_script(run)["violations"]}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_checker_of_accessibility_has_nothing_serious_to_say(chrome, small_page_file, scheme):
    page = opened(chrome, small_page_file)
    page.set_script_timeout(120)
    prefer(page, scheme)
    page.execute_script("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    page.execute_script(AXE)
    found = checked(page, "{exclude: [['.chart svg']]}")
    page.execute_script("location.hash = 'L0002'")
    found |= checked(page, "'#line'")
    said = {k: [n["html"][:120] for n in v.get("nodes", [])[:3]] for k, v in found.items()}
    assert not {k: said[k] for k, v in found.items() if v.get("impact") not in ("minor", "moderate")}, said


def test_what_has_focus_can_be_seen(page):
    page.find_element(By.TAG_NAME, "body").send_keys(Keys.TAB, Keys.TAB)
    style = page.execute_script("return getComputedStyle(document.activeElement).outlineStyle")
    assert style == "solid"


def test_the_lines_in_view_are_saved_as_csv(page):
    box = page.find_element(By.CSS_SELECTOR, '.tools[data-for="line-table"]')
    box.find_element(By.CSS_SELECTOR, "input[type=search]").send_keys("HYPERLINK")
    box.find_element(By.CSS_SELECTOR, "button[data-export]").click()
    file = page.saved / "lines.csv"
    for _ in range(50):
        if file.exists():
            break
        time.sleep(0.1)
    with file.open(encoding="utf-8-sig", newline="") as text:
        (line,) = csv.DictReader(text)
    assert line["description"].startswith("'=HYPERLINK")
    assert line["id"] == "L0002"


@pytest.mark.parametrize("width", [390, 1280, 1920])
def test_nothing_runs_out_of_the_page(page, width):
    page.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {"width": width, "height": 900, "deviceScaleFactor": 1,
                                                                "mobile": width < 500})  # fmt: skip
    try:
        page.execute_script("document.querySelectorAll('details').forEach(d => { d.open = true; })")
        time.sleep(0.6)
        wide = page.execute_script("return document.documentElement.scrollWidth")
        assert wide <= width
    finally:
        page.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_dark_mode_changes_ground_and_charts(page):
    def colors():
        return page.execute_script(
            "const s = e => getComputedStyle(e); return [s(document.body).backgroundColor,"
            "s(document.querySelector('[data-chart=map] .mark-symbol path')).fill]"
        )

    light = colors()
    page.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": "dark"}]}
    )
    dark = colors()
    assert light[0] == "rgb(251, 250, 247)"
    assert dark[0] == "rgb(22, 25, 29)"
    assert light[1] != dark[1]


def test_it_prints_with_every_decision_open(page):
    printed = page.execute_cdp_cmd("Page.printToPDF", {"printBackground": True})
    data = base64.b64decode(printed["data"])
    assert data.startswith(b"%PDF")
    assert len(data) > 50_000


def test_a_thousand_flagged_lines_stay_under_two_megabytes(tmp_path):
    path = tmp_path / "large.html"
    content = made_content(2600)
    assert content.lines["status"].isin(["stale", "drifting"]).sum() > 1000
    page_.write(content, path)
    assert path.stat().st_size < 2_000_000
