"""What the report is about: one audit reduced to the frames and figures that files, terminal, workbook and page share.

Redaction happens here, once, so that no output can show what another hides.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bomaudit.findings import to_frame
from bomaudit.glossary import STATUSES, TABLES_IN, VERDICTS
from bomaudit.report.numbers import Numbers
from bomaudit.settings import Settings

if TYPE_CHECKING:
    from bomaudit.audit import Audit

FLAGGED = ("stale", "drifting")
"""Statuses that ask for attention."""


@dataclass(frozen=True)
class Content:
    """Everything that an output may show.

    Attributes
    ----------
    title, as_of, currency, settings
        Of the audit.
    lines, decisions, requotes : DataFrame
        Columns of ``glossary.LINES``, ``DECISIONS_OUT`` and ``REQUOTES``.
    elements, options, tornado, drivers, paths, portfolio : DataFrame
        What a decision is made of, what its options cost, what moves it, where its variance comes from, cost per unit
        of its options over time, and how decisions add up; columns as in ``decide.Decided``.
    growth : Series of float
        Change of the annual volume from year to year, by decision. [1/year]
    evidence : Series of str
        Quotes used and passed over, by ``line_id``.
    findings, assumptions : DataFrame
        Columns of ``findings.Finding``; name, value, stated, source.
    curves : DataFrame
        One row a commodity (index), as fitted.
    absent : tuple of str
        Tables that were not given.
    hashes : dict of str to str
        SHA-256 of each input file.
    dropped : tuple of str
        What redaction took out, in words; empty where nothing was.
    """

    title: str
    as_of: date
    currency: str
    settings: Settings
    lines: pd.DataFrame
    decisions: pd.DataFrame
    requotes: pd.DataFrame
    elements: pd.DataFrame
    options: pd.DataFrame
    tornado: pd.DataFrame
    drivers: pd.DataFrame
    paths: pd.DataFrame
    portfolio: pd.DataFrame
    growth: pd.Series
    evidence: pd.Series
    findings: pd.DataFrame
    assumptions: pd.DataFrame
    curves: pd.DataFrame
    absent: tuple[str, ...]
    hashes: dict[str, str]
    dropped: tuple[str, ...] = field(default=())

    @property
    def numbers(self) -> Numbers:
        """Number format of the report's language."""
        return Numbers(self.settings.report.language)

    @property
    def audited(self) -> pd.DataFrame:
        """Lines that have an estimate."""
        return self.lines[self.lines["estimate"].notna()]


def gather(audit: Audit, *, redact: bool = False) -> Content:
    """Collect what the report shows.

    Parameters
    ----------
    audit : Audit
    redact : bool
        Leave out supplier names, prices that others quoted and internal notes; :attr:`Content.dropped` says what went.

    Returns
    -------
    Content
    """
    evidence = audit.estimates.frame["evidence"].fillna("").astype("str")
    content = Content(
        title=audit.title,
        as_of=audit.as_of,
        currency=audit.currency,
        settings=audit.settings,
        lines=audit.lines,
        decisions=audit.decided.decisions,
        requotes=audit.decided.requotes,
        elements=audit.decided.elements,
        options=audit.decided.options,
        tornado=audit.decided.tornado,
        drivers=audit.decided.drivers,
        paths=audit.decided.paths,
        portfolio=audit.decided.portfolio,
        growth=audit.inputs.tables["decisions"].groupby("decision")["volume_growth"].first(),
        evidence=pd.Series(evidence.to_numpy(), index=audit.lines["line_id"].to_numpy(), dtype="str"),
        findings=to_frame(audit.findings),
        assumptions=audit.assumptions,
        curves=audit.curves.experience.frame,
        absent=tuple(t for t in TABLES_IN if t not in audit.inputs.present),
        hashes=dict(sorted(audit.inputs.hashes.items())),
    )
    return _redacted(content) if redact else content


def _redacted(content: Content) -> Content:
    names = sorted({*content.lines["supplier"], *content.requotes["supplier"]} - {""}, key=lambda n: (-len(n), n))
    quotes = content.findings["file"].eq(content.settings.files.quotes or "\0")
    findings = content.findings.assign(found=content.findings["found"].where(~quotes, ""))
    frames = {
        "lines": content.lines.assign(supplier=""),
        "requotes": content.requotes.assign(supplier=""),
        "findings": findings,
        "decisions": content.decisions,
        "elements": content.elements.drop(columns="note", errors="ignore"),
    }
    dropped = (
        f"names of suppliers ({len(names)})",
        f"quoted prices and the evidence text of each line ({int(content.evidence.ne('').sum())})",
        f"what was found in cells of the quotes file ({int(quotes.sum())})",
        "internal notes",
    )
    scrubbed: dict[str, Any] = {k: _without(f, names) for k, f in frames.items()}
    return replace(content, **scrubbed, evidence=content.evidence.map(lambda _: ""), dropped=dropped)


def _without(frame: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    """Replace each name in each text column by a stand-in."""
    out = frame.copy()
    for column in [str(c) for c, t in frame.dtypes.items() if isinstance(t, pd.StringDtype)]:
        for name in names:
            out[column] = out[column].str.replace(name, "(supplier)", regex=False)
    return out


@dataclass(frozen=True)
class Stake:
    """Money a year by which booked costs stand above and below today's estimates.

    Attributes
    ----------
    above, below : float
        Sums of the exposures of flagged lines, both positive. [currency/year]
    lines_above, lines_below : int
    """

    above: float
    below: float
    lines_above: int
    lines_below: int


def stake(lines: pd.DataFrame) -> Stake:
    """Sum the exposure of flagged lines, both signs apart: they do not cancel for whoever buys the parts."""
    money = lines.loc[lines["status"].isin(FLAGGED), "exposure_per_year"].dropna()
    return Stake(
        above=float(money[money > 0].sum()),
        below=float(-money[money < 0].sum()),
        lines_above=int((money > 0).sum()),
        lines_below=int((money < 0).sum()),
    )


def count_statuses(lines: pd.DataFrame) -> dict[str, int]:
    """Count auditable rows of each status, all statuses named."""
    rows = lines[lines["status"].ne("")]
    return {s: int(rows["status"].eq(s).sum()) for s in STATUSES}


def count_verdicts(decisions: pd.DataFrame) -> dict[str, int]:
    """Count decisions of each verdict, all verdicts named."""
    return {v: int(decisions["verdict"].eq(v).sum()) for v in VERDICTS}


def by_verdict(decisions: pd.DataFrame) -> pd.DataFrame:
    """Decisions in the order of what to do: verdict, then net present value."""
    order = decisions["verdict"].map({v: i for i, v in enumerate(VERDICTS)})
    return decisions.assign(_order=order).sort_values(["_order", "npv"], ascending=[True, False], kind="stable").drop(
        columns="_order"
    )  # fmt: skip


def by_weight(lines: pd.DataFrame) -> pd.DataFrame:
    """Lines in the order in which they deserve a look: stale, drifting, unknown, current; then by money a year."""
    order = lines["status"].map({"stale": 0, "drifting": 1, "unknown": 2, "current": 3}).fillna(4)
    money = lines["exposure_per_year"].abs().fillna(-1.0)
    rank = np.lexsort((np.arange(len(lines)), -money.to_numpy(), order.to_numpy()))
    return lines.iloc[rank]
