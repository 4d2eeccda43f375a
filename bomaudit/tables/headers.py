"""What a header means: canonical columns and the columns beside them, by a table of words in many languages.

The words are in ``synonyms.csv``: a name, a language, headers. Names that begin with ``~`` are no canonical columns;
they are known so that a stock quantity is not taken for the quantity, nor a pack price for a piece price.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from bomaudit.glossary import TABLES_IN
from bomaudit.tables import units
from bomaudit.tables.money import MARK, code_of

EXACT, SYNONYM = 1.0, 0.95
"""Confidence of a header that is the canonical name itself, and of one that is in the table of synonyms."""
_CONTAINS = (0.45, 0.40)
"""A header that holds a known phrase among other words: this much, and this much more the larger the phrase's part."""
_CONTAINS_WELL = 0.66
"""A header explained this well by phrases inside it is not looked at for misspellings."""
_FUZZY_LEAST = 86.0
"""Least similarity (0-100, normalised edit distance) at which a misspelt header is taken for a known one."""
_FUZZY_WORTH = 0.75
_FUZZY_MIN_LETTERS = 5
_PLAIN_LETTERS = str.maketrans({"ł": "l", "ø": "o", "đ": "d", "ı": "i", "æ": "ae", "œ": "oe", "þ": "th"})
_CJK = re.compile(r"[\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af]")


@dataclass(frozen=True)
class Meaning:
    """One reading of a header: the column name it may stand for, how sure, and how it was told."""

    name: str
    confidence: float
    how: str


@dataclass(frozen=True)
class Header:
    """A header taken apart: its words, currency and quantity, the pieces or measure it prices, its meanings by name.

    ``scale`` is what its amounts are multiples of: 1,000 in T€, 0.01 in cents.
    """

    text: str
    words: str
    currency: str
    currency_mark: str
    at_quantity: float
    per: float
    per_unit: str
    scale: float
    meanings: dict[str, Meaning]

    def score(self, name: str) -> float:
        """Confidence that the header means ``name``; 0 where it does not."""
        meaning = self.meanings.get(name)
        return meaning.confidence if meaning is not None else 0.0


_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z][A-Za-z])")  # the M of UoM is no word of its own
_NUMBER = re.compile(r"[№]|\bno\b|\bn[°º]")
_PUNCTUATION = re.compile(r"[_\-–—/\\.,:;*\"'’`´!?+&|°º~]+")


def fold(text: str) -> str:
    """Small letters without accents, camel case split, punctuation to spaces; "Teile-Nr." → "teile nr"."""
    text = _CAMEL.sub(" ", unicodedata.normalize("NFKC", text)).casefold().translate(_PLAIN_LETTERS)
    if not text.isascii():
        text = "".join(c for c in unicodedata.normalize("NFKD", text) if not _is_accent(c))
        text = unicodedata.normalize("NFC", text)
    return " ".join(_PUNCTUATION.sub(" ", _NUMBER.sub(" no ", text)).split())


def _is_accent(char: str) -> bool:
    """Combining marks of Latin, Greek and Cyrillic; the voiced marks of Japanese are letters and stay."""
    return unicodedata.combining(char) != 0 and not 0x3099 <= ord(char) <= 0x309A  # noqa: PLR2004


_LONGEST = 500
"""What comes after so many letters of a cell does not make a header of it. [characters]"""


@cache
def _phrases() -> dict[str, dict[str, float]]:
    """Folded phrase → names it may stand for, with their confidence; every canonical name stands for itself."""
    table: dict[str, dict[str, float]] = defaultdict(dict)
    for name in (name for t in TABLES_IN.values() for name in t.names):
        table[fold(name)][name] = EXACT
    text = resources.files("bomaudit.tables").joinpath("synonyms.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        for name in row["names"].split(";"):
            table[fold(name.lstrip("~"))].setdefault(name, EXACT if not name.startswith("~") else SYNONYM)
            for phrase in row["headers"].split(";"):
                table[re.sub(r"\b(cost|price)s\b", r"\1", fold(phrase))].setdefault(name, SYNONYM)
    table.pop("", None)
    return dict(table)


@cache
def _by_first_word() -> dict[str, list[str]]:
    index: dict[str, list[str]] = defaultdict(list)
    for phrase in _phrases():
        index[phrase.split(" ", 1)[0]].append(phrase)
    return dict(index)


@cache
def _cjk_phrases() -> tuple[str, ...]:
    return tuple(sorted((p for p in _phrases() if _CJK.search(p)), key=len, reverse=True))


@cache
def known_names(text: str) -> dict[str, float]:
    """Names a header may stand for by the table of words alone, with confidence: quick, for looking through rows."""
    text = text[:_LONGEST]
    words = fold(_without_asides(text)) or fold(text)
    if not words:
        return {}
    words = re.sub(r"\b(cost|price)s\b", r"\1", words)
    return dict(_phrases().get(words) or {n: m.confidence for n, m in _inside(words).items()})


@cache
def understand(text: str) -> Header:
    """Take a header apart and look its words up.

    Notes
    -----
    The whole header is looked up first; then known phrases inside it, the longest at each place; then, for a header
    that holds none, the most similar known phrase.
    """
    raw = re.sub(r"\s+", " ", unicodedata.normalize("NFKC", text[:_LONGEST])).strip()
    shown, (scale, raw) = raw, _scaled(raw)
    currency, mark = _currency(raw)
    quantity = re.search(r"(?:@|\bfor\b|\bab\b|\bat\b|\bpour\b|\bbei\b)\s*(\d+)", raw, re.IGNORECASE)
    words = fold(_without_asides(raw)) or fold(re.sub(r"[()\[\]{}]", " ", raw)) or ("#" if "#" in raw else "")
    words, meanings = _with_aside(raw, words)
    at, (per, per_unit) = float(quantity[1]) if quantity else float("nan"), _priced(raw)
    return Header(shown, words, currency, mark, at, per, per_unit, scale, meanings)


_THOUSANDS = re.compile(r"(?<![^\W\d_])[TkK] ?(?=(?:€|\$|£|EUR|USD|GBP|CHF)(?![^\W\d_]))")
_HUNDREDTHS = re.compile(r"(?:[(\[/,]|\b(?:in|en)\b)\s*(?:euro)?c(?:en)?ts?\b", re.IGNORECASE)


def _scaled(raw: str) -> tuple[float, str]:
    """What the amounts below a header are multiples of, and the header without the mark of thousands."""
    plain = _THOUSANDS.sub(" ", raw)
    return (1000.0 if plain != raw else 0.01 if _HUNDREDTHS.search(raw) else 1.0), plain


_PRICED = re.compile(
    r"(?:/|\b(?:per|pro|je|par|por|za|на|за)\b)\s*(?P<n>1[0 .,']*0)?\s*(?P<unit>[^\W\d_]*)\.?\s*[)\]]*$",
    re.IGNORECASE,
)
"""What a price is for, at the end of its header: "per 100", "EUR/kg", "(€ / 1.000 Stk)"; not the year of 01/2023."""


def _priced(raw: str) -> tuple[float, str]:
    """Pieces and measure that a price headed so is for; NaN and "" where the header names none."""
    match = _PRICED.search(raw)
    if match is None:
        return float("nan"), ""
    digits, unit = re.sub(r"\D", "", match["n"] or ""), units.spelling(match["unit"])
    return float(digits or "nan"), unit if units.is_measure(unit) else ""


def _with_aside(raw: str, words: str) -> tuple[str, dict[str, Meaning]]:
    """Meanings of a header that may say more in brackets: "Price (total)", "Component (description)", "Qty (pcs)"."""
    meanings = _look_up(words)
    aside = re.search(r"[(\[（]([^()\[\]（）]+)[)\]）]", raw)
    if aside is None:
        return words, meanings
    joined = fold(MARK.sub(" ", re.sub(r"[()\[\]（）]", " ", raw)))
    if joined != words and (joined in _phrases() or not meanings):
        return joined, _look_up(joined)
    inner = _phrases().get(fold(aside[1]), {})
    if inner and all(name.startswith("~") for name in meanings) and not all(name.startswith("~") for name in inner):
        return words, {n: Meaning(n, 0.95 * c, "synonym") for n, c in inner.items()}
    return words, meanings


def _currency(raw: str) -> tuple[str, str]:
    match = MARK.search(raw)
    if match is None or (match["word"] and match["word"].lower() in ("ft", "kr", "lei", "tl", "din")):
        return "", ""
    return code_of(match), match.group(0)


def _without_asides(raw: str) -> str:
    """Header without what stands in brackets, without currency marks and quantities."""
    text = re.sub(r"\([^()]*\)|\[[^\[\]]*\]|\{[^{}]*\}|（[^（）]*）", " ", raw)
    text = MARK.sub(lambda m: m.group(0) if m["word"] else " ", text)
    text = re.sub(r"@\s*\d+", " ", text)
    return re.sub(r"\bper unit\b", "per unit", text)


def _look_up(words: str) -> dict[str, Meaning]:
    if not words:
        return {}
    words = re.sub(r"\b(cost|price)s\b", r"\1", words)
    whole = _phrases().get(words)
    if whole is not None:
        return {n: Meaning(n, c, "exact" if c == EXACT else "synonym") for n, c in whole.items()}
    inside = _inside(words)
    best = max((m.confidence for m in inside.values()), default=0.0)
    if best >= _CONTAINS_WELL:
        return inside
    alike = _similar(words)
    return alike if max((m.confidence for m in alike.values()), default=0.0) > best else inside


def _inside(words: str) -> dict[str, Meaning]:
    found: dict[str, Meaning] = {}
    for phrase in _spans(words):
        worth = _CONTAINS[0] + _CONTAINS[1] * len(phrase) / len(words)
        for name, confidence in _phrases()[phrase].items():
            score = worth * confidence
            if name not in found or found[name].confidence < score:
                found[name] = Meaning(name, score, "synonym")
    return found


def _spans(words: str) -> list[str]:
    """Known phrases inside a header, none of them inside another."""
    spans: list[tuple[int, int, str]] = []
    if _CJK.search(words):
        squeezed = words
        spans += [(m.start(), m.end(), p) for p in _cjk_phrases() for m in re.finditer(re.escape(p), squeezed)]
    tokens = words.split(" ")
    starts = [sum(len(t) + 1 for t in tokens[:i]) for i in range(len(tokens))]
    for i, token in enumerate(tokens):
        for phrase in _by_first_word().get(token, ()):
            end = starts[i] + len(phrase)
            if words.startswith(phrase, starts[i]) and (end == len(words) or words[end] == " "):
                spans.append((starts[i], end, phrase))
    return [p for a, b, p in spans if not any((c, d) != (a, b) and c <= a and b <= d for c, d, _ in spans)]


def _similar(words: str) -> dict[str, Meaning]:
    if len(words) < _FUZZY_MIN_LETTERS or len(words) > 40:  # noqa: PLR2004  (a sentence is no header)
        return {}
    from rapidfuzz import fuzz, process  # noqa: PLC0415  (only for headers that nothing else explains)

    best = process.extractOne(words, list(_phrases()), scorer=fuzz.ratio, score_cutoff=_FUZZY_LEAST)
    if best is None:
        return {}
    phrase: Any = best[0]
    if len(phrase) < _FUZZY_MIN_LETTERS:
        return {}
    worth = _FUZZY_WORTH * best[1] / 100
    return {n: Meaning(n, worth * c, "fuzzy") for n, c in _phrases()[phrase].items()}
