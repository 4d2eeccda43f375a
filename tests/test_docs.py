"""What README says about tables, settings, commands and files is what the program has."""

import inspect
import re
from pathlib import Path

import pytest

from bomaudit import glossary
from bomaudit.cli import app
from bomaudit.settings import FilesSection, Settings

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("table", glossary.TABLES_IN.values(), ids=lambda t: t.name)
def test_every_column_is_documented(table):
    row = next(line for line in README.splitlines() if line.startswith(f"| `{table.name}` |"))
    for column in table.columns:
        assert re.search(rf"\b{column.name}\b", row), column.name


def test_every_setting_is_documented_with_its_reason():
    for section, field in Settings.model_fields.items():
        model = field.annotation
        if section in ("files", "sheets", "columns") or model is FilesSection:
            continue
        if section == "layout":
            assert "| `layout` |" in README
            continue
        for name, setting in model.model_fields.items():
            assert f"| `{section}.{name}` |" in README
            assert setting.description in README, f"{section}.{name}"


def test_every_command_is_documented():
    for command in app.registered_commands:
        name = command.name or command.callback.__name__
        assert f"`{name}" in README or f"bomaudit {name}" in README, name


def test_commands_that_print_no_json_are_named():
    """README said that each does."""
    groups = [("", app), *((f"{g.name} ", g.typer_instance) for g in app.registered_groups)]
    commands = {
        prefix + (c.name or c.callback.__name__): c.callback for prefix, of in groups for c in of.registered_commands
    }
    without = {name for name, call in commands.items() if "as_json" not in inspect.signature(call).parameters}
    said = re.search(r"all but (.+?) have `--json`", README)[1]
    assert set(re.findall(r"`([^`]+)`", said)) == without


def test_every_verdict_and_status_is_explained():
    for word in (*glossary.VERDICTS, *glossary.STATUSES):
        assert f"| {word} |" in README


def test_links_lead_somewhere():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target


def test_every_what_if_is_documented():
    from bomaudit.what_if import DECISION_FIELDS, KINDS  # noqa: PLC0415

    text = README.partition("## What if")[2].partition("\n## ")[0]
    assert [kind for kind in KINDS if f"`{kind}:" not in text] == []
    assert all(f"`{name}`" in text or f".{name}=" in text for name in DECISION_FIELDS)
