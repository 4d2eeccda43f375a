"""The decision register: rows of elements → decisions, options and elements, validated.

Findings of this module: ``D001`` a name is missing · ``D002`` one option only · ``D003`` no chosen option, or several ·
``D004`` header fields contradict each other · ``D005`` annual volume not known · ``D006`` years left not stated ·
``D007`` change cost not stated · ``D008`` kind unknown · ``D009`` basis unknown or missing ·
``D011`` low, amount and high out of order · ``D022`` safety said in a remark only · ``D024`` nothing is made any more ·
``D025`` a volume growth or years of use that cannot be.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from bomaudit.findings import Finding, error, warning
from bomaudit.frames import conform
from bomaudit.glossary import BASES, DECISIONS, ELEMENT_KINDS, PLACE_COLUMNS
from bomaudit.prepare.safety import said_in_remarks
from bomaudit.settings import LONGEST_YEARS, STEEPEST_GROWTH, Settings

HEADER = ("title", "decided_on", "annual_volume", "volume_growth", "years_left", "change")
"""Fields of a decision that any of its rows may state; the first one stated counts."""

_PLACE = list(PLACE_COLUMNS)


@dataclass(frozen=True)
class Register:
    """Decisions in three tables that point at each other by position.

    Attributes
    ----------
    decisions : DataFrame
        decision, title, decided_on, annual_volume [1/year], volume_growth [1/year], years_left [year], change,
        safety_relevant (bool), and the place of the first row.
    options : DataFrame
        d (position of the decision), option, chosen (bool), change_cost, in ``change_currency``: the one currency that
        the decision's rows state, "" (the audit currency) where they state none or several. Options of a decision stand
        together, in the order of the register.
    elements : DataFrame
        d, o (position of the option) and the columns of glossary ``DECISIONS`` that belong to an element, and the
        place.
    findings : tuple of Finding
    """

    decisions: pd.DataFrame
    options: pd.DataFrame
    elements: pd.DataFrame
    findings: tuple[Finding, ...]


def read_register(rows: pd.DataFrame, *, settings: Settings, as_of: date) -> Register:
    """Read and validate the register.

    Parameters
    ----------
    rows : DataFrame
        Table ``decisions`` of the glossary: one row an element of an option of a decision.
    settings : Settings
        Gives the annual volume and the years left where a decision states none.
    as_of : date

    Returns
    -------
    Register
        Decisions that cannot be judged (one option, no chosen option or several) are left out, each with an error,
        and those of products that are made no more, each with a warning.

    Notes
    -----
    Findings ``D001`` to ``D011``, ``D022``, ``D024`` and ``D025``, see the module.
    """
    table = conform(rows, DECISIONS)
    for name in PLACE_COLUMNS:
        table[name] = rows[name] if name in rows else ("" if name != "source_row" else range(1, len(rows) + 1))
    codes = ("decision", "option", "kind", "basis", "currency", "part_no", "change")
    table = table.assign(**{c: table[c].str.strip() for c in codes})
    table = table.assign(
        kind=table["kind"].str.lower(), basis=table["basis"].str.lower(), currency=table["currency"].str.upper()
    )
    named = (table["decision"] != "") & (table["option"] != "")
    findings = [at(r, error, "D001", "every row must name its decision and its option", assumed="row left out",
                    advice="fill in decision and option") for r in records(table[~named])]  # fmt: skip
    table, found = _whole_decisions(table[named])
    findings += found
    table, found = _still_made(table)
    findings += found
    table["d"], table["o"] = table.groupby("decision", sort=False).ngroup(), -1
    table = table.sort_values("d", kind="stable").reset_index(drop=True)
    table["o"] = table.groupby(["d", "option"], sort=False).ngroup()
    table = table.sort_values("o", kind="stable").reset_index(drop=True)
    decisions, found = _headers(table, settings=settings, as_of=as_of)
    findings += found
    options = _options(table)
    elements, found = _elements(table, settings=settings)
    findings += found
    return Register(decisions, options, elements, tuple(findings))


def records(rows: pd.DataFrame) -> list[dict[str, object]]:
    """Rows as dictionaries, for findings only: there are few of them."""
    if not len(rows):
        return []
    return [{str(k): v for k, v in record.items()} for record in rows.to_dict("records")]


def at(record: dict[str, object], make: Callable[..., Finding], code: str, message: str, **more: str) -> Finding:
    """Make a finding at the place of a record.

    Parameters
    ----------
    record : dict
        A row of the register, with its place.
    make : callable
        ``error``, ``warning`` or ``note`` of :mod:`bomaudit.findings`.
    code, message, **more : str
        As in :class:`bomaudit.findings.Finding`.

    Returns
    -------
    Finding
    """
    row = record["source_row"]
    place = {"file": str(record["source_file"]), "sheet": str(record["source_sheet"])}
    return make(
        code, message, row=int(float(str(row))) if str(row) not in ("nan", "<NA>", "None") else None, **place, **more
    )


def texts(values: pd.Series) -> pd.Series:
    """Values as text, "" where missing, whatever type a frame without rows gave them."""
    return values.astype(object).where(values.notna(), "").astype("str")


def by_group(values: pd.Series, groups: pd.Series) -> dict[object, list[str]]:
    """Texts of each group, in their order: one pass, however many groups there are."""
    held: dict[object, list[str]] = {}
    for group, value in zip(groups.tolist(), values.tolist(), strict=True):
        held.setdefault(group, []).append(value)
    return held


def _whole_decisions(table: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Leave out decisions with fewer than two options, or not exactly one chosen."""
    by = table.groupby("decision", sort=False)
    chosen = table["chosen"].fillna(False).astype(bool)
    options = by["option"].transform("nunique")
    n_chosen = table["option"].where(chosen).groupby(table["decision"]).transform("nunique")
    keep = (options >= 2) & (n_chosen == 1)  # noqa: PLR2004  (a decision is between two)
    firsts = table[~keep].drop_duplicates("decision").index
    findings: list[Finding] = []
    for record, n, c in zip(records(table.loc[firsts]), options[firsts], n_chosen[firsts], strict=True):
        name = record["decision"]
        if n < 2:  # noqa: PLR2004
            findings.append(at(record, error, "D002", f"decision {name} needs at least two options",
                                found=f"only {record['option']}", assumed="decision left out",
                                advice="add what the alternative consists of"))  # fmt: skip
        else:
            findings.append(at(record, error, "D003", f"decision {name} needs exactly one chosen option",
                                found=f"{int(c)}", assumed="decision left out",
                                advice="mark the option in production with y in column chosen"))  # fmt: skip
    return table[keep].reset_index(drop=True), findings


def _still_made(table: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Leave out decisions that say that no product is to be made any more: a switch has nothing left to save."""
    findings: list[Finding] = []
    for column in ("years_left", "annual_volume"):
        over = table.groupby("decision", sort=False)[column].transform("first") == 0
        findings += [
            at(r, warning, "D024", f"decision {r['decision']} must be about a product that is still made",
               found=f"{column} 0", assumed="decision left out: nothing is left to save",
               advice=f"drop it, or correct {column}") for r in records(table[over].drop_duplicates("decision"))
        ]  # fmt: skip
        table = table[~over]
    return table.reset_index(drop=True), findings


def _first_stated(table: pd.DataFrame, column: str, by: str) -> pd.Series:
    """First value stated in each group, by its position; missing where none is."""
    values = table[column]
    if pd.api.types.is_string_dtype(values):
        return texts(values.where(values != "").groupby(table[by]).first())
    return values.groupby(table[by]).first()


def _headers(table: pd.DataFrame, *, settings: Settings, as_of: date) -> tuple[pd.DataFrame, list[Finding]]:
    heads = table.drop_duplicates("d").set_index("d")[["decision", *_PLACE]]
    for column in HEADER:
        heads[column] = _first_stated(table, column, "d")
    in_words = said_in_remarks(table["safety_relevant"], table["note"])
    flag = table["safety_relevant"].fillna(in_words).astype(bool)
    heads["safety_relevant"] = flag.groupby(table["d"]).any()
    findings = _contradictions(table)
    wrong = (heads["volume_growth"] <= -1) | (heads["volume_growth"] > STEEPEST_GROWTH)
    findings += [
        at(r, warning, "D025", f"volume_growth of {r['decision']} must be above -100%, at most {STEEPEST_GROWTH:.0%}",
           found=f"{r['volume_growth']:.1%}", assumed="taken as not stated, no growth",
           advice="correct volume_growth") for r in records(heads[wrong])
    ]  # fmt: skip
    heads["volume_growth"] = heads["volume_growth"].mask(wrong).fillna(0.0)
    findings += [
        at(r, warning, "D022", f"decision {r['decision']} should say whether it bears on safety", found=repr(r["note"]),
           assumed="it does, by this remark", advice="confirm in the column safety_relevant, yes or no")
        for r in records(table[in_words].drop_duplicates("d"))
    ]  # fmt: skip
    late = heads["decided_on"] > pd.Timestamp(as_of)
    findings += [
        at(r, warning, "D004", "a decision should be taken before the as-of date", found=f"{r['decided_on']:%Y-%m-%d}",
           assumed="taken as of that date") for r in records(heads[late])
    ]  # fmt: skip
    heads["decided_on"] = heads["decided_on"].mask(late, pd.Timestamp(as_of))
    wrong = heads["annual_volume"] < 0
    findings += [
        at(r, warning, "D005", "annual_volume must not be negative", found=f"{r['annual_volume']:.12g}",
           assumed="taken as not stated", advice="correct annual_volume") for r in records(heads[wrong])
    ]  # fmt: skip
    heads["annual_volume"] = heads["annual_volume"].mask(wrong)
    unknown = ~((heads["years_left"] > 0) & (heads["years_left"] <= LONGEST_YEARS))
    findings += [
        at(r, warning, "D006", f"decision {r['decision']} must say how many years the product is still made",
           found=f"{r['years_left']:g}".replace("nan", "nothing"),
           assumed=f"{settings.decide.years_left:g} years, from [decide] years_left",
           advice=f"fill in years_left, above 0 and at most {LONGEST_YEARS:g}") for r in records(heads[unknown])
    ]  # fmt: skip
    heads["years_left"] = heads["years_left"].mask(unknown, settings.decide.years_left)
    return heads.reset_index(drop=True), findings


def _contradictions(table: pd.DataFrame) -> list[Finding]:
    """``D004``: a header field stated twice, differently, within one decision; a change cost within one option."""
    findings = []
    for column, by in (*((name, "d") for name in HEADER), ("change_cost", "o")):
        values = table[column].where(table[column] != "") if table[column].dtype == "str" else table[column]
        several = values.groupby(table[by]).nunique().gt(1)
        for group in several.index[several]:
            rows = table[(table[by] == group) & values.notna()]
            later = rows.index[(values[rows.index] != values[rows.index[0]]).to_numpy()][0]
            record = records(table.loc[[later]])[0]
            findings.append(
                at(record, warning, "D004", f"{column} must be the same in all rows of decision {record['decision']}",
                   found=f"{values[later]} after {values[rows.index[0]]}", assumed="the first one is taken",
                   advice=f"state {column} once")
            )  # fmt: skip
    return findings


def _options(table: pd.DataFrame) -> pd.DataFrame:
    options = table.drop_duplicates("o").set_index("o")[["d", "option", *_PLACE]]
    options["chosen"] = table["chosen"].fillna(False).astype(bool).groupby(table["o"]).any()
    own = _first_stated(table, "change_cost", "o")
    of_decision = _first_stated(table, "change_cost", "d")
    options["change_cost"] = own.fillna(options["d"].map(of_decision))
    named = table["currency"].where(table["currency"] != "").groupby(table["d"])
    only = texts(named.first().where(named.nunique().eq(1)))
    options["change_currency"] = options["d"].map(only)
    return options.reset_index(drop=True)


def _elements(table: pd.DataFrame, *, settings: Settings) -> tuple[pd.DataFrame, list[Finding]]:
    elements = table.drop(columns=[*HEADER, "chosen", "change_cost", "safety_relevant"])
    findings: list[Finding] = []
    bad_kind = ~elements["kind"].isin(ELEMENT_KINDS)
    findings += [
        at(r, warning, "D008", f"kind must be one of {', '.join(ELEMENT_KINDS)}", found=repr(r["kind"]),
           assumed="part if it has a part number, else other") for r in records(elements[bad_kind])
    ]  # fmt: skip
    as_part = np.where(elements["part_no"] != "", "part", "other")
    elements["kind"] = elements["kind"].where(~bad_kind, as_part)
    once = elements["kind"].isin(["tooling", "engineering", "validation", "capital"])
    bad_basis = ~elements["basis"].isin(BASES)
    findings += [at(r, warning, "D009", f"basis must be one of {', '.join(BASES)}",
                     found=repr(r["basis"]) if r["basis"] else "nothing",
                     assumed="once for tooling, engineering, validation and capital, else per_unit",
                     advice="fill in basis") for r in records(elements[bad_basis])]  # fmt: skip
    elements["basis"] = elements["basis"].where(~bad_basis, np.where(once, "once", "per_unit"))
    used = elements["use_years"]
    wrong = used.notna() & ~((used > 0) & (used <= LONGEST_YEARS))
    findings += [
        at(r, warning, "D025", f"use_years must be above 0 and at most {LONGEST_YEARS:g}", found=f"{r['use_years']:g}",
           assumed=f"taken as not stated, {settings.decide.use_years:g} years from [decide] use_years",
           advice="correct use_years") for r in records(elements[wrong])
    ]  # fmt: skip
    elements["use_years"] = used.mask(wrong)
    elements["currency"] = elements["currency"].where(elements["currency"] != "", settings.read.currency)
    return _ranges(elements, findings)


def _ranges(elements: pd.DataFrame, findings: list[Finding]) -> tuple[pd.DataFrame, list[Finding]]:
    """Low ≤ most likely ≤ high, the amount filled from the range where only that is stated."""
    low, amount, high = (elements[c] for c in ("low", "amount", "high"))
    filled = amount.where(amount.notna() | low.isna() | high.isna(), (low + high) / 2)
    out_of_order = (low > filled) | (filled > high)
    findings += [
        at(r, warning, "D011", "low ≤ amount ≤ high must hold",
           found=f"{r['low']:.12g}, {r['amount']:.12g}, {r['high']:.12g}", assumed="the three are put in order",
           advice="correct the range")
        for r in records(elements.assign(amount=filled)[out_of_order])
    ]  # fmt: skip
    elements = elements.assign(amount=filled)
    ordered = np.sort(elements.loc[out_of_order, ["low", "amount", "high"]].to_numpy(dtype=float), axis=1)
    elements.loc[out_of_order, ["low", "amount", "high"]] = ordered
    return elements.assign(
        low=elements["low"].fillna(elements["amount"]), high=elements["high"].fillna(elements["amount"])
    ), findings


def missing_volume(decisions: pd.DataFrame) -> list[Finding]:
    """``D005``: decisions whose annual volume nobody states; money a year and one-time costs cannot be compared."""
    return [at(r, error, "D005", f"decision {r['decision']} needs an annual volume",
               assumed="only unit costs are compared", advice="fill in annual_volume, or set it under [audit]")
            for r in records(decisions[decisions["annual_volume"].isna()])]  # fmt: skip


def silent_on_change_cost(register: Register) -> frozenset[str]:
    """Decisions with an alternative of which nobody says what a switch to it costs once."""
    options = register.options
    silent = options["d"][options["change_cost"].isna() & ~options["chosen"].astype(bool)]
    return frozenset(register.decisions["decision"].iloc[silent.unique()])


def missing_change_cost(register: Register) -> list[Finding]:
    """``D007``: decisions of which nobody says what a switch costs; taken as 0, which favours switching."""
    rows = register.decisions[register.decisions["decision"].isin(silent_on_change_cost(register))]
    return [at(r, warning, "D007", f"decision {r['decision']} must say what a switch costs once", found="nothing",
                assumed="0 beyond the one-time elements of the alternative, which favours switching",
                advice="fill in change_cost") for r in records(rows)]  # fmt: skip
