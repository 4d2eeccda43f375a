"""Words that tell what a row is: totals, subtotals, charges, alternatives, in many languages (``words.csv``)."""

from __future__ import annotations

import csv
import re
from functools import cache
from importlib import resources

from bomaudit.tables.headers import fold

_LONGEST_LABEL = 48
"""A label of a total or a charge is a few words [letters]; a longer text describes a part."""
_CJK = re.compile(r"[\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af]")


@cache
def _words(kind: str) -> frozenset[str]:
    text = resources.files("bomaudit.tables").joinpath("words.csv").read_text(encoding="utf-8")
    rows = [r for r in csv.DictReader(text.splitlines()) if r["kind"] == kind]
    return frozenset(fold(w) for r in rows for w in r["words"].split(";"))


def is_word(kind: str, text: str) -> bool:
    """Whether a folded text is one of the words of a kind."""
    return text in _words(kind)


@cache
def label_kind(text: str, *, loose: bool = False) -> str:
    """Return total, subtotal, charge, or "" for what a short text in a row labels.

    Parameters
    ----------
    text : str
    loose : bool
        Whether any words may follow the word for a total: only where the row has no quantity.

    Notes
    -----
    The label is the whole text, or its beginning up to a bracket, colon, currency or percentage; "Total torque wrench"
    is no label, "Total (EUR):" and "VAT 21 %" are.
    """
    if len(text) > _LONGEST_LABEL:
        return ""
    label = re.sub(r"\(.*?\)|\[.*?\]", " ", text)
    label = re.split(r"[:=]", label, maxsplit=1)[0]
    label = re.sub(
        r"[€$£¥]|\b(?:EUR|USD|GBP|CHF|PLN|JPY|SEK|CAD|AUD|CNY|RUB)\b|[+\-]?\s*\d+(?:[.,]\d+)?\s*%", " ", label
    )
    words = fold(label)
    if not words:
        return ""
    for kind in ("subtotal", "total", "charge"):
        if words in _words(kind):
            return kind
    return _longer_label(words, loose=loose)


def _longer_label(words: str, *, loose: bool) -> str:
    """Labels with more words around: "total for the frame", "gastos de envio firma", "grand total"."""
    tokens = words.split(" ")
    if _CJK.search(words):
        return next(
            (k for k in ("subtotal", "total", "charge") for w in _words(k) if len(w) > 1 and words.startswith(w)), ""
        )
    if len(tokens) > 8:  # noqa: PLR2004  (a sentence)
        return ""
    for size in (3, 2, 1):
        head, tail = " ".join(tokens[:size]), " ".join(tokens[-size:])
        for kind in ("subtotal", "total"):
            first = head in _words(kind) and (loose or _is_filling(tokens[size:]))
            if first or (tail in _words(kind) and _is_filling(tokens[:-size])):
                return kind
    return "" if any(ch.isdigit() for ch in words) else _longer_charge(tokens)


def _longer_charge(tokens: list[str]) -> str:
    heads = (" ".join(tokens[:size]) for size in (3, 2))
    ends_so = len(tokens) <= 3 and tokens[-1] in _CHARGE_TAILS  # noqa: PLR2004  ("final assembly labour")
    return "charge" if ends_so or any(head in _words("charge") for head in heads) else ""


_CHARGE_TAILS = frozenset([
    "freight", "labour", "labor", "shipping", "postage", "duty", "fracht", "versand", "porto", "lohn",
    "montagelohn", "envío", "frete", "frakt",
])  # fmt: skip
"""Last words of "inbound freight" or "final assembly labour"."""
_FILLING = frozenset([
    "estimated", "for", "of", "the", "all", "per", "cost", "costs", "price", "prices", "in", "off", "de", "des",
    "du", "la", "le", "les", "los", "el", "der", "die", "das", "fur", "und", "et", "y", "i", "e", "parts", "bom",
    "excl", "incl", "without", "with", "excluding", "including", "tax", "vat", "shipping", "materials", "material",
    "components", "hardware", "electronics", "mechanical", "section", "overall", "order", "project", "robot",
    "unit", "device", "build", "kit", "machine", "product", "assembly", "pieces", "teile", "bauteile", "grand",
    "net", "gross", "ht", "ttc", "piezas", "por", "para", "je", "pro", "gerat", "stuck", "par", "piece", "piece",
])  # fmt: skip


def _is_filling(tokens: list[str]) -> bool:
    return all(t in _FILLING for t in tokens)


@cache
def _alternative_tokens() -> tuple[frozenset[str], tuple[str, ...]]:
    words = _words("alternative")
    return frozenset(t for w in words for t in _TOKEN.findall(w)), tuple(w for w in words if _CJK.search(w))


def is_alternative(text: str) -> bool:
    """Whether a cell says that its row stands in for another row."""
    tokens, cjk = _alternative_tokens()
    found = _TOKEN.findall(text.casefold())
    if not tokens.intersection(found) and (
        text.isascii() or not (any(w in text for w in cjk) or tokens & set(fold(text).split()))
    ):
        return False
    words = fold(text)
    if not words or len(words) > _LONGEST_LABEL:
        return False
    return words in _words("alternative") or any(
        words.startswith(w + " ") or words.endswith(" " + w)
        for w in _words("alternative")
        if " " in w or len(w) > 5  # noqa: PLR2004
    )


_TOKEN = re.compile(r"[^\W\d_]+")


@cache
def _label_tokens() -> tuple[frozenset[str], tuple[str, ...]]:
    text = resources.files("bomaudit.tables").joinpath("words.csv").read_text(encoding="utf-8")
    kinds = ("total", "subtotal", "charge")
    raw = [w for r in csv.DictReader(text.splitlines()) if r["kind"] in kinds for w in r["words"].split(";")]
    tokens = {t for w in raw for form in (w.casefold(), fold(w)) for t in _TOKEN.findall(form)}
    return frozenset(tokens), tuple(w for w in raw if _CJK.search(w))


_NO_POINTS = str.maketrans(dict.fromkeys("()[]{}:;.,*+-=/%#!?\"'0123456789€$£", " "))


def may_be_label(text: str) -> bool:
    """Quick look whether :func:`label_kind` could say something: a first or last word is one of its words."""
    tokens, cjk = _label_tokens()
    found = text.casefold().translate(_NO_POINTS).split()
    if found and (found[0] in tokens or found[-1] in tokens or (len(found) > 1 and found[-2] in tokens)):
        return True
    return not text.isascii() and (any(w in text for w in cjk) or (bool(found) and fold(found[0]) in tokens))
