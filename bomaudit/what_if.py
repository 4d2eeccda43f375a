"""What if: values of the inputs given for one run, each shown with the result as an assumption.

Findings of this module: ``S013`` a value was given for this run (note) · ``S014`` a what-if that cannot be read ·
``S015`` a what-if that names nothing in the inputs.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from bomaudit.curves.library import Library
from bomaudit.curves.offers import GIVEN
from bomaudit.findings import BadInput, Finding, error, near, note
from bomaudit.prepare.currency import Fx
from bomaudit.settings import LONGEST_YEARS, STEEPEST_GROWTH

DECISION_FIELDS = ("annual_volume", "volume_growth", "years_left", "change_cost")
_NUMBER = r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?"
_MONEY = re.compile(rf"({_NUMBER})(?:\s*([A-Za-z]{{3}}))?")
_MOVED = re.compile(rf"(?:x({_NUMBER})|([+-]\d+(?:\.\d+)?)\s*%|({_NUMBER}))")
_MARKS = {"decision": ".", "volume": "@", "input": "@"}
"""What parts the name from the field or the period, of the kinds that have one."""
_HALF = 0.5
_STEEPEST = 5.0  # largest exponent, either way, that is believed: 97 % off with each doubling; published: within 1.3


@dataclass(frozen=True)
class Change:
    """One value given for this run.

    Attributes
    ----------
    text : str
        As given, ``kind:name@period=value``.
    kind : str
        One of :data:`KINDS`.
    name, at, value : str
        What is changed, at which period (or which field of a decision), to what.
    """

    text: str
    kind: str
    name: str
    at: str
    value: str


@dataclass(frozen=True)
class World:
    """What a change works on.

    Attributes
    ----------
    tables : mapping of str to DataFrame
        Tables of the glossary as read.
    library : Library
    as_of : date
    fx : Fx
        Exchange rates; its currency is the audit's.
    """

    tables: Mapping[str, pd.DataFrame]
    library: Library
    as_of: date
    fx: Fx

    def with_table(self, name: str, frame: pd.DataFrame) -> World:
        """The same with one table changed."""
        return replace(self, tables={**self.tables, name: frame})


def told_apart(given: Iterable[str]) -> tuple[list[str], tuple[Change, ...]]:
    """Tell overrides of settings (``section.name=value``) from changes of inputs (``kind:name=value``).

    Parameters
    ----------
    given : iterable of str
        As on the command line.

    Returns
    -------
    settings : list of str
    changes : tuple of Change

    Raises
    ------
    BadInput
        ``S014`` for a change without a value or of an unknown kind; all of them at once.
    """
    settings, changes, bad = [], [], []
    for text in given:
        left, equals, value = text.partition("=")
        kind, colon, rest = left.partition(":")
        if not colon:
            settings.append(text)
            continue
        kind = kind.strip().lower()
        mark = _MARKS.get(kind, "")  # any other name may hold one: of parts, say
        name, _, at = rest.rpartition(mark) if mark and mark in rest else (rest, "", "")
        if kind not in KINDS or not equals or not name.strip() or not value.strip():
            bad.append(error("S014", f"a what-if is written {', '.join(f'{k}:{h}' for k, h in FORMS.items())}",
                             found=repr(text), advice=near(kind, KINDS) if kind not in KINDS else ""))  # fmt: skip
            continue
        change = Change(text.strip(), kind, name.strip(), at.strip(), value.strip())
        if mark == "@" and mark in rest and not change.at:
            bad += _unreadable(change, "a period after @, or no @ for the newest one").findings
        changes.append(change)
    if bad:
        raise BadInput(*bad)
    return settings, tuple(changes)


def apply(world: World, changes: Iterable[Change]) -> tuple[World, tuple[Finding, ...]]:
    """Change the inputs, one change after the other.

    Parameters
    ----------
    world : World
    changes : iterable of Change

    Returns
    -------
    world : World
    findings : tuple of Finding
        ``S013``, one a change: what is now taken as given; its row says in which turn.

    Raises
    ------
    BadInput
        ``S014`` for a value that cannot be read, ``S015`` for a name that the inputs do not hold, with the nearest ones
        they do; all of them at once.
    """
    said: list[Finding] = []
    bad: list[Finding] = []
    for turn, change in enumerate(changes, 1):
        try:
            world, assumed = KINDS[change.kind](world, change)
        except BadInput as problem:
            bad += problem.findings
            continue
        said.append(
            note("S013", "a value was given for this run only", file="--set", row=turn, found=change.text,
                 assumed=assumed)
        )  # fmt: skip
    if bad:
        raise BadInput(*bad)
    return world, tuple(said)


def _price(world: World, change: Change) -> tuple[World, str]:
    parts = {*world.tables["bom"]["part_no"], *world.tables["decisions"]["part_no"],
             *world.tables["alternates"]["alternate_part_no"]}  # fmt: skip
    _known(change, parts)
    amount, currency = _money(world, change)
    own = world.tables["bom"].loc[world.tables["bom"]["part_no"] == change.name, "supplier"]
    row = {
        "part_no": change.name, "quote_date": pd.Timestamp(world.as_of), "unit_price": amount, "currency": currency,
        "kind": "firm", "supplier": own.iloc[0] if len(own) else "", "source_file": GIVEN, "source_row": 1,
    }  # fmt: skip
    assumed = f"as if a firm quote of {amount:.12g} {currency} had come in on {world.as_of}"
    return world.with_table("quotes", _appended(world.tables["quotes"], row)), assumed


def _booked(world: World, change: Change) -> tuple[World, str]:
    rows = _rows_of_part(world, change)
    bom = world.tables["bom"].copy()
    if "%" in change.value or change.value.startswith("x"):
        bom.loc[rows, "unit_cost"] = [_moved(change, cost) for cost in bom.loc[rows, "unit_cost"].tolist()]
        return world.with_table("bom", bom), f"booked cost of {int(rows.sum())} rows moved"
    amount, currency = _money(world, change)
    bom["unit_cost"], bom["currency"] = bom["unit_cost"].mask(rows, amount), bom["currency"].mask(rows, currency)
    return world.with_table("bom", bom), f"booked at {amount:.12g} {currency} in {int(rows.sum())} rows"


def _date(world: World, change: Change) -> tuple[World, str]:
    rows = _rows_of_part(world, change)
    try:
        day = pd.Timestamp(date.fromisoformat(change.value))
    except ValueError:
        raise _unreadable(change, "a day as 2024-03-31") from None
    if day > pd.Timestamp(world.as_of):
        raise _unreadable(change, f"a day up to the as-of date, {world.as_of}")
    bom, quotes = world.tables["bom"].copy(), world.tables["quotes"]
    bom.loc[rows, "cost_date"] = day
    older = (quotes["part_no"] == change.name) & (quotes["quote_date"] <= day)
    changed = world.with_table("bom", bom).with_table("quotes", quotes[~older].reset_index(drop=True))
    aside = f"; {int(older.sum())} older quotes of the part are set aside" if older.any() else ""
    return changed, f"as if the booked cost had been agreed on {day:%Y-%m-%d}{aside}"


def _volume(world: World, change: Change) -> tuple[World, str]:
    table = _with_starter(world, "volumes", "commodity", change)
    mine = table[table["commodity"] == change.name].sort_values("period", kind="stable")
    mine = mine[mine["period"] <= pd.Timestamp(world.as_of)]
    row = _row_at(change, mine)
    total = mine["cumulative_volume"]
    made = float(mine["volume"].fillna(total.diff()).to_numpy()[mine.index.get_loc(row)])
    if not made > 0:
        raise _unreadable(change, "a period whose volume is known")
    more = _moved(change, made) - made
    table.loc[row, "volume"] = made + more
    table.loc[total.loc[row:].index, "cumulative_volume"] = total.loc[row:] + more
    assumed = f"{made + more:.6g} instead of {made:.6g} made to {mine['period'][row]:%Y-%m-%d}"
    return world.with_table("volumes", table.reset_index(drop=True)), assumed


def _input(world: World, change: Change) -> tuple[World, str]:
    table = _with_starter(world, "input_prices", "series", change)
    mine = table[(table["series"] == change.name) & (table["value"] > 0)]
    said = []
    for _, rows in mine.groupby("currency", sort=True):
        ordered = rows.sort_values("period", kind="stable")
        step = ordered["period"].diff().median()
        reach = pd.Timedelta(step) * _HALF if pd.notna(step) else pd.Timedelta(0)  # a period counts at its middle
        usable = ordered[ordered["period"] - reach <= pd.Timestamp(world.as_of)]
        row = _row_at(change, usable)
        before = float(usable["value"].to_numpy()[usable.index.get_loc(row)])
        after = _moved(change, before)
        table.loc[row, "value"] = after
        said.append(f"{after:.6g} instead of {before:.6g} in the period to {usable['period'][row]:%Y-%m-%d}")
    return world.with_table("input_prices", table.reset_index(drop=True)), "; ".join(said)


def _exponent(world: World, change: Change) -> tuple[World, str]:
    _with_index(world, change, needs=True, other="trend")
    value = _share(change)
    if change.kind == "learning_rate":
        if not value < 1:
            raise _unreadable(change, "a share below 1, as 20% or 0.2")
        value = float(-np.log2(1.0 - value))
    if not abs(value) <= _STEEPEST:
        raise _unreadable(change, f"an exponent from -{_STEEPEST:g} to {_STEEPEST:g}")
    library = replace(world.library, exponents={**world.library.exponents, change.name: value})
    return replace(world, library=library), f"experience exponent {value:.4g}, known for certain"


def _trend(world: World, change: Change) -> tuple[World, str]:
    _with_index(world, change, needs=False, other="exponent")
    value = _share(change)
    if not value > -1:
        raise _unreadable(change, "a change above -100%, as -2% or -0.02")
    library = replace(world.library, trends={**world.library.trends, change.name: float(np.log1p(value))})
    return replace(world, library=library), f"real change of {100 * value:+.4g} % a year, known for certain"


def _decision(world: World, change: Change) -> tuple[World, str]:
    table = world.tables["decisions"].copy()
    _known(change, set(table["decision"]))
    if change.at not in DECISION_FIELDS:
        raise BadInput(error("S015", f"a decision has {', '.join(DECISION_FIELDS)} to change",
                             found=repr(change.text), advice=near(change.at, DECISION_FIELDS)))  # fmt: skip
    rows = table["decision"] == change.name
    stated = table[change.at][rows].dropna().tolist()
    growth = change.at == "volume_growth"
    if not stated and not growth and not re.fullmatch(_NUMBER, change.value):
        raise _unreadable(change, "a number, since none is stated to move")
    was = float(stated[0]) if stated else 0.0
    after = _share(change) if growth else _moved(change, was, free=change.at == "change_cost")
    if growth and not -1 < after <= STEEPEST_GROWTH:
        raise _unreadable(change, f"a growth above -100% and at most {STEEPEST_GROWTH:.0%}, as 5% or 0.05")
    if change.at == "years_left" and after > LONGEST_YEARS:
        raise _unreadable(change, f"at most {LONGEST_YEARS:g} years")
    table[change.at] = table[change.at].mask(rows, after)
    before = f"{was:.12g}" if stated else "what is assumed where none is stated"
    return world.with_table("decisions", table), f"{change.at} {after:.12g} instead of {before}"


Apply = Callable[[World, Change], tuple[World, str]]
KINDS: dict[str, Apply] = {
    "price": _price, "booked": _booked, "date": _date, "volume": _volume, "input": _input, "exponent": _exponent,
    "learning_rate": _exponent, "trend": _trend, "decision": _decision,
}  # fmt: skip
FORMS = {
    "price": "PART=12.50 EUR", "booked": "PART=12.50 EUR", "date": "PART=2024-03-31", "volume": "COMMODITY@2024=x1.5",
    "input": "SERIES=+20%", "exponent": "COMMODITY=0.3", "learning_rate": "COMMODITY=20%", "trend": "COMMODITY=-2%",
    "decision": "NAME.years_left=7",
}  # fmt: skip
"""How each kind is written, by example."""


def _known(change: Change, names: Iterable[str]) -> None:
    held = set(names)
    if change.name not in held:
        raise BadInput(
            error("S015", f"{change.kind}: must name something in the inputs", found=repr(change.name),
                  advice=near(change.name, held))
        )  # fmt: skip


def _unreadable(change: Change, wanted: str) -> BadInput:
    return BadInput(error("S014", f"{change.kind}: takes {wanted}", found=repr(change.text),
                          advice=f"for example {change.kind}:{FORMS[change.kind]}"))  # fmt: skip


def _rows_of_part(world: World, change: Change) -> pd.Series:
    _known(change, set(world.tables["bom"]["part_no"]))
    return world.tables["bom"]["part_no"] == change.name


def _money(world: World, change: Change) -> tuple[float, str]:
    """Amount above 0 and its currency; the audit's where none is given."""
    found = _MONEY.fullmatch(change.value)
    if not found or not 0 < float(found[1]) < math.inf:
        raise _unreadable(change, "an amount above 0, with or without a currency")
    currency = (found[2] or world.fx.currency).upper()
    if not world.fx.known([currency])[0]:
        raise BadInput(
            error("S014", f"{change.kind}: needs a currency with exchange rates", found=repr(change.text),
                  advice=f"convert it to {world.fx.currency}, or give its rates in a table of fx")
        )  # fmt: skip
    return float(found[1]), currency


def _moved(change: Change, before: float, free: bool = False) -> float:
    """A value as given: a number, or ``x1.5``, or ``+20%`` of what was; above 0 unless it may be free."""
    found = _MOVED.fullmatch(change.value)
    if not found:
        raise _unreadable(change, "a number, a factor as x1.5 or a change as +20%")
    factor = float(found[1]) if found[1] else 1 + float(found[2] or 0) / 100
    after = float(found[3]) if found[3] else before * factor
    if after < 0:
        raise _unreadable(change, "a value that is not negative")
    if after == 0 and not free:
        raise _unreadable(change, "a value above 0")
    if not np.isnan(before) and not math.isfinite(after):
        raise _unreadable(change, "a number that is finite")
    return after


def _share(change: Change) -> float:
    """A share, ``20%`` or ``0.2``."""
    text = change.value.removesuffix("%").strip()
    if not re.fullmatch(_NUMBER, text):
        raise _unreadable(change, "a number or a percentage")
    share = float(text) / (100 if change.value.endswith("%") else 1)
    if not math.isfinite(share):
        raise _unreadable(change, "a number that is finite")
    return share


def _with_starter(world: World, name: str, key: str, change: Change) -> pd.DataFrame:
    """Table with the library's rows of what is changed, where the audit has none of its own."""
    own, starter = world.tables[name], getattr(world.library, name)
    _known(change, {*own[key], *starter[key]})
    if (own[key] == change.name).any():
        return own.copy()
    rows = starter[starter[key] == change.name]
    return _appended(own, *rows.to_dict("records"))


def _appended(table: pd.DataFrame, *rows: Mapping[str, object]) -> pd.DataFrame:
    """Table with more rows, columns typed as they were and missing where a row says nothing."""
    columns = {}
    for name in table.columns:
        kind = table[name].dtype
        text = pd.api.types.is_string_dtype(kind) or pd.api.types.is_object_dtype(kind)
        missing = "" if text else 0 if pd.api.types.is_integer_dtype(kind) else None
        more = pd.Series([row.get(name, missing) for row in rows])
        columns[name] = pd.concat([table[name], more.astype(kind)], ignore_index=True) if len(table) else more
        columns[name] = columns[name].astype(kind)
    return pd.DataFrame(columns)


def _row_at(change: Change, rows: pd.DataFrame) -> int:
    """The row of the period named, or the newest one; ``rows`` in order of their period."""
    if not change.at and len(rows):
        return int(rows.index[-1])
    names = rows["period"].dt.strftime("%Y-%m-%d")
    held = rows.index[[name.startswith(change.at) for name in names]]
    if not change.at or len(held) != 1:
        raise BadInput(
            error("S015", f"{change.kind}: must name one period up to the as-of date", found=repr(change.text),
                  advice=f"one of {', '.join(names[-5:])}" if len(names) else "none of its periods is over by then")
        )  # fmt: skip
    return int(held[0])


def _with_index(world: World, change: Change, *, needs: bool, other: str) -> None:
    """The commodity must be known, and have a volume index or not."""
    tables = [world.tables[t]["commodity"] for t in ("bom", "quotes", "volumes", "decisions", "alternates")]
    _known(change, {*world.library.commodities["commodity"], *(n for names in tables for n in names)})
    indexed = {*world.tables["volumes"]["commodity"], *world.library.volumes["commodity"]}
    if (change.name in indexed) != needs:
        raise BadInput(
            error("S014", f"{change.name} has {'no' if needs else 'a'} volume index, so its prices follow "
                  f"{'a trend' if needs else 'experience'}", found=repr(change.text),
                  advice=f"use {other}:{change.name}")
        )  # fmt: skip
