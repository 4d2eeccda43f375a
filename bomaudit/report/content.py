"""What the report is about: one audit reduced to the frames and figures that files, terminal, workbook and page share.

Redaction happens here, once, so that no output can show what another hides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.sparse import csr_array
from scipy.special import ndtri

from bomaudit.curves.input_shares import InputShares, input_shares
from bomaudit.decide.candidates import HEADROOM, LOOK_ALIKES
from bomaudit.findings import to_frame
from bomaudit.glossary import STATUSES, TABLES_IN, VERDICTS
from bomaudit.report.book_finance import reconciliation
from bomaudit.report.markets import market_points
from bomaudit.report.numbers import Numbers
from bomaudit.settings import Settings

if TYPE_CHECKING:
    from bomaudit.audit import Audit
    from bomaudit.backtest import Backtest

FLAGGED = ("stale", "drifting")
"""Statuses that ask for attention."""
WHOLE, MOST_ROWS = 20_000, 5_000
"""Rows that workbook and summary hold: all up to the first; of longer lists, which nobody works through row by row, so
many with the most money. All are in lines.csv and requotes.csv."""


@dataclass(frozen=True)
class Content:
    """Everything that an output may show.

    Attributes
    ----------
    title, as_of, currency, settings
        Of the audit.
    lines, decisions, requotes : DataFrame
        Columns of ``glossary.LINES``, ``DECISIONS_OUT`` and ``REQUOTES``.
    elements, options, tornado, drivers, paths, portfolio, inputs, savings : DataFrame
        What a decision is made of, what its options cost, what moves it, where its variance comes from, cost per unit
        of its options over time, how decisions add up, what input prices do to them, and the distribution of their
        savings; columns as in ``decide.Decided``.
    shares : InputShares
        What inputs carry of each line's price.
    growth, silent
        Growth of each decision's volume, and decisions without a stated cost of change, as in ``decide.Decided``.
    loadings, sd_own
        Joint uncertainty of the lines, as in ``estimate.Estimates``.
    evidence : Series of str
        Quotes used and passed over, by ``line_id``.
    findings, assumptions : DataFrame
        Columns of ``findings.Finding``; name, value, stated, source.
    curves : DataFrame
        One row a commodity (index), as fitted.
    markets : DataFrame
        Points of their curves, columns of ``markets.COLUMNS``.
    stages : Series of str
        Stage of each market today, by commodity.
    reconciled : DataFrame or None
        Parts with a standard, columns of ``book_finance.COLUMNS``; None where no standards were given.
    record : Backtest or None
        The tool's own record on these quotes; None where it was not tested.
    absent : tuple of str
        Tables that were not given.
    hashes : dict of str to str
        SHA-256 of each input file.
    dropped : tuple of str
        What redaction took out, in words; empty where nothing was.
    broken : tuple of str
        What does not hold together; such a report says on every file that it is not to be used.
    headroom, candidates : DataFrame
        Lines by headroom, and look-alikes: candidate decisions to confirm; columns as in ``decide.Decided``.
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
    inputs: pd.DataFrame
    savings: pd.DataFrame
    shares: InputShares
    growth: pd.Series
    silent: frozenset[str]
    loadings: csr_array
    sd_own: npt.NDArray[np.float64]
    evidence: pd.Series
    findings: pd.DataFrame
    assumptions: pd.DataFrame
    curves: pd.DataFrame
    markets: pd.DataFrame
    stages: pd.Series
    reconciled: pd.DataFrame | None
    record: Backtest | None
    absent: tuple[str, ...]
    hashes: dict[str, str]
    dropped: tuple[str, ...] = field(default=())
    broken: tuple[str, ...] = field(default=())
    headroom: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(HEADROOM)))
    candidates: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(LOOK_ALIKES)))

    @property
    def numbers(self) -> Numbers:
        """Number format of the report's language."""
        return Numbers(self.settings.report.language)

    @property
    def audited(self) -> pd.DataFrame:
        """Lines that have an estimate."""
        return self.lines[self.lines["estimate"].notna()]

    @cached_property
    def row_of(self) -> dict[str, int]:
        """Position of each line."""
        return {name: row for row, name in enumerate(self.lines["line_id"].tolist())}

    @cached_property
    def called(self) -> dict[str, str]:
        """Part number → part number and what it is, from the elements of decisions and from the BOM."""
        parts = [self.lines[["part_no", "description"]],
                 self.elements[["part_no", "element"]].rename(columns={"element": "description"})]  # fmt: skip
        frame = pd.concat(parts, ignore_index=True)
        frame = frame[(frame["part_no"] != "") & (frame["description"] != "")].drop_duplicates("part_no")
        return dict(zip(frame["part_no"], frame["part_no"] + " " + frame["description"], strict=True))


def gather(audit: Audit, record: Backtest | None = None) -> Content:
    """Collect what the report shows of an audit, and of a backtest on its quotes where one was run."""
    evidence = audit.estimates.frame["evidence"].fillna("").astype("str")
    return Content(
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
        inputs=audit.decided.inputs,
        savings=audit.decided.savings,
        shares=input_shares(audit.prepared, audit.curves, as_of=audit.as_of),
        growth=audit.decided.growth,
        silent=audit.decided.silent,
        loadings=audit.estimates.loadings,
        sd_own=audit.estimates.sd_own,
        evidence=pd.Series(evidence.to_numpy(), index=audit.lines["line_id"].to_numpy(), dtype="str"),
        findings=to_frame(audit.findings),
        assumptions=audit.assumptions,
        curves=audit.curves.experience.frame,
        markets=market_points(audit),
        stages=audit.curves.maturity["stage"],
        reconciled=None if audit.broken else reconciliation(audit),
        record=record,
        absent=tuple(t for t in TABLES_IN if t not in audit.inputs.present),
        hashes=dict(sorted(audit.inputs.hashes.items())),
        broken=tuple(str(f) for f in audit.broken),
        headroom=audit.decided.headroom,
        candidates=audit.decided.candidates,
    )


def redacted(content: Content) -> Content:
    """Leave out supplier names, prices that others quoted and internal notes; ``dropped`` says what went."""
    names = sorted({*content.lines["supplier"], *content.requotes["supplier"]} - {""}, key=lambda n: (-len(n), n))
    quotes = content.findings["file"].eq(content.settings.files.quotes or "\0")
    findings = content.findings.assign(found=content.findings["found"].where(~quotes, ""))
    frames = {
        "lines": content.lines.assign(supplier=""),
        "requotes": content.requotes.assign(supplier=""),
        "findings": findings,
        "decisions": content.decisions,
        "elements": content.elements.drop(columns="note", errors="ignore"),
        "headroom": content.headroom,
        "candidates": content.candidates,
    }
    dropped = (
        f"names of suppliers ({len(names)})",
        f"quoted prices and the evidence text of each line ({int(content.evidence.ne('').sum())})",
        f"what was found in cells of the quotes file ({int(quotes.sum())})",
        "internal notes",
    )
    scrubbed: dict[str, Any] = {k: _without(f, names) for k, f in frames.items()}
    curves = content.markets[content.markets["kind"] != "quote"]
    return replace(content, **scrubbed, markets=curves, evidence=content.evidence.map(lambda _: ""), dropped=dropped)


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
        Sums of the exposures of flagged lines, both positive; NaN where it is known of none of them. [currency/year]
    lines_above, lines_below : int
    """

    above: float
    below: float
    lines_above: int
    lines_below: int


def known_sum(money: pd.Series) -> float:
    """Sum of what is known; NaN where nothing is."""
    return float(money.sum(min_count=1))


def stake(lines: pd.DataFrame) -> Stake:
    """Sum the exposure of flagged lines, both signs apart: they do not cancel for whoever buys the parts."""
    money = lines.loc[lines["status"].isin(FLAGGED), "exposure_per_year"]
    unknown = len(money) > 0 and bool(money.isna().all())
    return Stake(
        above=np.nan if unknown else float(money[money > 0].sum()),
        below=np.nan if unknown else float(-money[money < 0].sum()),
        lines_above=int((money > 0).sum()),
        lines_below=int((money < 0).sum()),
    )


def money_known(content: Content) -> bool:
    """Whether drift can be turned into money a year: of the lines with an estimate one has an annual volume too."""
    return content.audited.empty or bool(content.audited["exposure_per_year"].notna().any())


def at_stake(content: Content, sign: int) -> tuple[float, float, float]:
    """Money a year by which flagged lines stand above (sign 1) or below (-1) their estimates, with its interval.

    Parameters
    ----------
    content : Content
    sign : int

    Returns
    -------
    estimate, low, high : float
        All positive where the sign holds. [currency/year]

    Notes
    -----
    The interval is that of the sum: causes that lines share (a commodity's exponent, an input price, a currency) move
    them together, the rest is each part's own, wherever it is built in; to first order in the logs, normal, low end
    not below 0.
    """
    lines = content.lines
    money = lines["exposure_per_year"].to_numpy(dtype=float)
    picked = lines["status"].isin(FLAGGED).to_numpy() & (np.sign(np.nan_to_num(money)) == sign)
    spent = np.where(picked, lines["estimate"] * lines["qty_per"] * lines["annual_volume"], 0.0)
    shared = content.loadings.T @ spent
    part = lines["part_no"].where(lines["part_no"] != "", lines["line_id"])
    own = np.bincount(pd.factorize(part)[0], weights=spent * np.where(picked, content.sd_own, 0.0))
    reach = float(ndtri((1 + content.settings.audit.confidence) / 2) * np.sqrt(shared @ shared + own @ own))
    total = float(np.abs(money[picked]).sum())
    return total, max(total - reach, 0.0), total + reach


def count_statuses(lines: pd.DataFrame) -> dict[str, int]:
    """Count auditable rows of each status, all statuses named."""
    rows = lines[lines["status"].ne("")]
    return {s: int(rows["status"].eq(s).sum()) for s in STATUSES}


def idle_lines(lines: pd.DataFrame) -> tuple[int, int]:
    """Count audited lines that count no money, because none is built in on the day; and the flagged ones of them."""
    idle = lines[lines["estimate"].notna() & lines["qty_per"].eq(0)]
    return len(idle), int(idle["status"].isin(FLAGGED).sum())


def count_verdicts(decisions: pd.DataFrame) -> dict[str, int]:
    """Count decisions of each verdict, all verdicts named."""
    return {v: int(decisions["verdict"].eq(v).sum()) for v in VERDICTS}


def size_of(decision: Mapping[Any, Any]) -> float:
    """Largest saving of a row of ``decisions``: what is said of it has its decimals. [currency/product]."""
    savings = (decision[f"saving_{name}"] for name in ("booked", "today", "low", "high"))
    return max((abs(s) for s in savings if np.isfinite(s)), default=0.0)


def by_verdict(decisions: pd.DataFrame) -> pd.DataFrame:
    """Decisions in the order of what to do: verdict, then net present value."""
    order = decisions["verdict"].map({v: i for i, v in enumerate(VERDICTS)})
    return decisions.assign(_order=order).sort_values(["_order", "npv"], ascending=[True, False], kind="stable").drop(
        columns="_order"
    )  # fmt: skip


def by_weight(lines: pd.DataFrame, most: int | None = None) -> pd.DataFrame:
    """Lines in the order in which they deserve a look: stale, drifting, unknown, current; then by money a year."""
    order = lines["status"].map({"stale": 0, "drifting": 1, "unknown": 2, "current": 3}).fillna(4)
    money = lines["exposure_per_year"].abs().fillna(-1.0)
    rank = np.lexsort((np.arange(len(lines)), -money.to_numpy(), order.to_numpy()))
    return lines.iloc[rank[:most]]


def held_of(rows: int) -> int:
    """How many of so many rows, in order of weight, workbook and summary hold; what they leave out they say."""
    return rows if rows <= WHOLE else MOST_ROWS
