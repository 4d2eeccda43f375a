"""One line or one decision, found by its name and told in full."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rich.console import Console

from bomaudit.findings import BadInput, error, near
from bomaudit.report.content import Content, gather
from bomaudit.report.stories import DecisionStory, LineStory, tell_decision, tell_line
from bomaudit.report.terminal import numbers_for, show_decision, show_line

if TYPE_CHECKING:
    from bomaudit.audit import Audit

Explanation = DecisionStory | tuple[LineStory, ...]
"""A decision, or every line of that name in the order of the BOM."""


def explain(audit: Audit, name: str) -> Explanation:
    """Tell all that is known of a line or a decision.

    Parameters
    ----------
    audit : Audit
    name : str
        Short name of a decision, a line id or a part number, letter by letter; a decision comes first.

    Returns
    -------
    Explanation

    Raises
    ------
    BadInput
        If nothing has that name.
    """
    return find(gather(audit), name)


def find(content: Content, name: str) -> Explanation:
    """Tell a line or a decision of what was collected; as :func:`explain`."""
    found = explain_decision(content, name) or explain_line(content, name)
    if not found:
        decisions, lines = content.decisions["decision"], content.lines
        raise BadInput(
            error(
                "R001", "explain takes a line id, a part number or a decision of the audit", found=repr(name),
                advice=f"{near(name, [*decisions, *lines['part_no'], *lines['line_id']])} (decisions: "
                       f"{', '.join(sorted(decisions)) or 'none'}; line ids and part numbers stand in lines.csv)",
            )
        )  # fmt: skip
    return found


def explain_line(content: Content, name: str) -> tuple[LineStory, ...]:
    """Tell the lines of that line id or part number; empty where there is none."""
    rows = content.lines[(content.lines["line_id"] == name) | (content.lines["part_no"] == name)]
    return tuple(tell_line(content, row, numbers_for(content)) for row in rows.to_dict("records"))


def explain_decision(content: Content, name: str) -> DecisionStory | None:
    """Tell the decision of that short name; None where there is none."""
    rows = content.decisions[content.decisions["decision"] == name].to_dict("records")
    return tell_decision(content, rows[0], numbers_for(content)) if rows else None


def show(explanation: Explanation, console: Console) -> None:
    """Print an explanation."""
    if isinstance(explanation, DecisionStory):
        show_decision(explanation, console)
        return
    for story in explanation:
        show_line(story, console)


def as_data(explanation: Explanation) -> dict[str, Any]:
    """Turn an explanation into plain data: the same words and figures."""
    stories = (explanation,) if isinstance(explanation, DecisionStory) else explanation
    return {
        "schema": "bomaudit-explanation/1",
        "kind": "decision" if isinstance(explanation, DecisionStory) else "line",
        "stories": [
            asdict(s) | {"sections": [{"title": t, "points": list(p)} for t, p in s.sections]} for s in stories
        ],
    }
