"""Which currency each line is in: from its cell, header, number format, a note on the sheet, or the settings."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, note, warning
from bomaudit.tables.cells import Amounts
from bomaudit.tables.distinct import each
from bomaudit.tables.headers import Header
from bomaudit.tables.money import AMBIGUOUS, ISO_CODES, MARK, RARE_CODES, code_of, mark_in

Texts = NDArray[np.object_]
_AMOUNT = re.compile(r"\d\s*$|^\s*\d")
_PRICE_WORDS = re.compile(
    r"price|cost|currency|preis|währung|kosten|prix|devise|coût|precio|moneda|coste|preço|moeda|prezz|valuta|prijs|cena|ceny|koszt|walut|цен|валют|"
    r"价|币|単価|価格|通貨|가격|단가|통화|pris",
    re.IGNORECASE,
)
"""Words that make a code in a note a currency: CAD is also drawing with a computer."""
_SYMBOL = re.compile(r"[€£¥₽₩₹$]")
_DOLLARS = frozenset({"USD", "CAD", "AUD", "NZD", "HKD", "TWD", "SGD", "MXN", "COP", "CLP", "ARS"})


def stated_codes(cells: Texts) -> tuple[Texts, NDArray[np.bool_]]:
    """Codes of a currency column, and where its text is no currency."""
    texts = each(cells, lambda c: str(c).strip())
    codes = each(texts, lambda t: t.upper() if t.upper() in ISO_CODES | RARE_CODES else mark_in(t)[0])
    return codes, np.asarray((texts != "") & (codes == ""), dtype=bool)


def from_notes(texts: Sequence[str]) -> str:
    """The one currency that titles and notes of a sheet mention without an amount ("all prices in SEK"); else ""."""
    codes = set()
    for text in texts:
        if not _PRICE_WORDS.search(text) and not _SYMBOL.search(text):
            continue
        marks = [m for m in MARK.finditer(text) if not (m["word"] and len(m["word"]) < 4)]  # noqa: PLR2004  (short words mean other things too)
        if len({code_of(m) for m in marks}) == 1 and not _has_amount(text, marks[0]):
            codes.add(code_of(marks[0]))
    return codes.pop() if len(codes) == 1 else ""


def _has_amount(text: str, mark: re.Match[str]) -> bool:
    before, after = text[: mark.start()], text[mark.end() :]
    return bool(re.search(r"\d\s*$", before) or re.match(r"\s*\d", after))


def resolve(
    *,
    column: Texts | None,
    reads: Sequence[Amounts | None],
    headers: Sequence[Header],
    formats: Sequence[dict[int, tuple[str, str]]],
    rows: NDArray[np.intp],
    notes: Sequence[str],
    setting: str,
    where: dict[str, Any],
    priced: NDArray[np.bool_],
) -> tuple[Texts, list[Finding]]:
    """Settle the currency of every line.

    Parameters
    ----------
    column : object array or None
        Codes of a currency column.
    reads : sequence of Amounts or None
        Unit cost and extended cost cells of the lines.
    headers : sequence of Header
        Of the same columns.
    formats : sequence of dict
        0-based row → (code, mark) of the number formats of the same columns.
    rows : int array
        1-based row of each line.
    notes : sequence of str
        Titles and notes of the sheet.
    setting : str
        [read] currency.
    where : dict
        File and sheet, for findings.
    priced : bool array
        Lines that have a price: only they need a currency.

    Returns
    -------
    codes : object array
        "" where nothing states one.
    findings : list
        T055 shared mark, T056 not stated, T057 several, T059 from setting or note, T091 a mark that denies the column.
    """
    n = len(rows)
    code, mark, source = (np.full(n, "", dtype=object) for _ in range(3))

    def fill(codes: Any, marks: Any, name: str) -> None:
        take = (code == "") & (np.asarray(codes, dtype=object) != "")
        code[take] = np.broadcast_to(np.asarray(codes, dtype=object), n)[take]
        mark[take] = np.broadcast_to(np.asarray(marks, dtype=object), n)[take]
        source[take] = name

    if column is not None:
        fill(column, "", "column")
    for read in reads:
        if read is not None:
            fill(read.currency, read.mark, "cell")
    for header in headers:
        fill(np.full(n, header.currency, dtype=object), header.currency_mark, "header")
    for worn in filter(None, formats):
        found = [worn.get(int(r) - 1, ("", "")) for r in rows]
        fill([f[0] for f in found], [f[1] for f in found], "number format")
    noted = from_notes(notes)
    fill(np.full(n, noted, dtype=object), "", "note")
    fill(np.full(n, setting, dtype=object), "", "setting")
    named = next((h.currency for h in headers if h.currency and h.currency_mark.lower() not in AMBIGUOUS), "")
    findings = _shared_marks(code, mark, named or noted or setting, where)
    findings += _denied(column, reads, rows, where)
    return code, findings + _said(code, source, priced, where)


def _denied(
    column: Texts | None, reads: Sequence[Amounts | None], rows: NDArray[np.intp], where: dict[str, Any]
) -> list[Finding]:
    """``T091``: prices whose own mark is another currency than that of their row's currency column."""
    if column is None:
        return []
    marked = [read for read in reads if read is not None]
    odd = np.zeros(len(rows), dtype=bool)
    for read in marked:
        shared = each(read.mark, lambda m: m.lower() in AMBIGUOUS, bool)
        same_mark = shared & (np.isin(column, list(_DOLLARS)) == (read.currency == "USD"))
        odd |= (read.currency != "") & (column != "") & (read.currency != column) & ~same_mark
    if not odd.any():
        return []
    i = int(np.flatnonzero(odd)[0])
    mark = next(read.mark[i] for read in marked if read.mark[i])
    found = f"{mark} in a row of {column[i]}, the first of {int(odd.sum())}"
    return [warning("T091", "the mark of a price must be the currency of its row", **where, row=int(rows[i]),
                    found=found, assumed="the currency column is believed", advice="correct one of them")]  # fmt: skip


def _shared_marks(code: Texts, mark: Texts, named: str, where: dict[str, Any]) -> list[Finding]:
    """Settle marks that several currencies use by the currency the sheet names elsewhere, if it names one."""
    shared = each(mark, lambda m: m.lower() in AMBIGUOUS, bool)
    if not shared.any():
        return []
    findings = []
    for which in sorted({str(m) for m in mark[shared]}):
        usual, other = AMBIGUOUS[which.lower()]
        at = shared & (mark == which)
        if named and (named == usual or named in _DOLLARS or usual not in _DOLLARS):
            code[at] = named
            continue
        findings.append(
            warning(
                "T055",
                f"the mark {which} must name one currency",
                **where,
                found=f"{int(at.sum())} lines",
                assumed=f"read as {usual}; it may be {other}",
                advice="set currency in [read] of audit.toml",
            )
        )
    return findings


def _said(code: Texts, source: Texts, priced: NDArray[np.bool_], where: dict[str, Any]) -> list[Finding]:
    findings = []
    missing = priced & (code == "")
    if missing.any():
        findings.append(
            warning(
                "T056",
                "prices must state their currency",
                **where,
                found=f"{int(missing.sum())} {'line' if missing.sum() == 1 else 'lines'} without one",
                assumed="taken as in the audit currency",
                advice="set currency in [read] of audit.toml",
            )
        )
    codes = Counter(code[priced & (code != "")])
    if len(codes) > 1:
        listed = ", ".join(f"{c} {codes[c]}" for c in sorted(codes))
        findings.append(note("T057", "lines are in several currencies", **where, found=listed))
    for name in ("number format", "note", "setting"):
        taken = sorted({str(c) for c in code[priced & (source == name)]})
        if taken:
            findings.append(note("T059", f"the currency is taken from the {name}", **where, found=", ".join(taken)))
    return findings
