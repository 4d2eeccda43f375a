"""Which market a part is bought from, by the keywords of the commodity catalogue.

A description names the thing first and says more after it ("brush motor relay, 24 V"). The word that names the thing is
the head of its first phrase: the last in English and German, the first in Romance languages. A keyword that is the head
says most, one beside the head little, one in what follows ("with plug") least.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

WHOLE, MAKING, HEAD, START, BESIDE, AFTER = 0.82, 0.80, 0.78, 0.55, 0.4, 0.25
"""Confidence of a keyword that is the whole first phrase, says after a comma how the thing is made, ends the first
phrase, begins it, stands inside it, or comes after it. The three upper steps together were right on 60 of the 75 lines
of the invented floor scrubber they decide (tests/benchmarks/commodities.py); the lower ones are judgement."""
_MADE_TO_DRAWING = frozenset({"metalworking", "machining", "moulding", "sheet_welding"})
"""Classes in which the way of making is the market: a die-cast housing is bought from a foundry."""
_MATERIAL = "raw_material"
"""A material beside a noun is what the thing is made of, not what is bought."""
_RIVAL = 0.6
"""Share of the confidence that is left where another market's keyword fits as well."""
_FUZZY_LEAST, _FUZZY_LETTERS, _FUZZY_WORTH = 90.0, 7, 0.8
_ROMANCE = re.compile(r"\b(?:de|du|des|d|del|della|di|da|do|la|le|el|a|à|en)\b")
"""Words that join a Romance noun to what follows it: there the first word is the head."""
_ENDS = re.compile(
    r"[,;:/(\[|]|\s[-–]\s|\b(?:with|for|from|incl|including|on|to|in|mit|für|fur|aus|zum|zur|im|avec|pour|con|para|per|sans|bez|z|"
    r"dla|для|с|из)\b"
)
"""Where the first phrase ends and more is said about the thing."""
_SIZES = re.compile(
    r"\b(?:(?:dn |ø ?)?[a-z]{0,3}\d[\w.]*(?:\s*x\s*\d[\w.]*)*\s*"
    r"(?:mm2?|cm|m|v|w|a|kw|ah|bar|kg|l|ml|rpm|hz|khz|mhz|ohm|°c)?)\b"
)
"""Sizes and ratings, which name nothing."""
_CJK = re.compile(r"[\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af]")


@dataclass(frozen=True)
class _Keyword:
    text: str
    commodity: str
    kind: str

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """Compiled when first needed: most keywords occur in no description."""
        return _pattern(self.text)


def classify(
    descriptions: pd.Series, commodities: pd.DataFrame
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.float64]]:
    """Commodity of each description, and how sure.

    Parameters
    ----------
    descriptions : Series of str, length n
        Each distinct one is looked at once.
    commodities : DataFrame
        The catalogue: ``commodity`` and ``keywords`` (separated by semicolons, several languages).

    Returns
    -------
    commodity : object array, shape (n,)
        "" where no keyword is found.
    confidence : float array, shape (n,)
        0 where no keyword is found, at most 0.82: a keyword is never proof. [-]
    """
    labels, unique = pd.factorize(descriptions.fillna(""))
    keywords = _keywords(commodities)
    found = [_best(_plain(str(text)), keywords) for text in unique]
    commodity = np.array([c for c, _ in found], dtype=object)
    sure = np.array([s for _, s in found], dtype=float)
    return commodity[labels], sure[labels]


def _keywords(commodities: pd.DataFrame) -> list[_Keyword]:
    words = []
    kinds = commodities["class"] if "class" in commodities else [""] * len(commodities)
    for commodity, listed, kind in zip(commodities["commodity"], commodities["keywords"], kinds, strict=True):
        names = [str(commodity).replace("_", " "), *str(listed).split(";")]
        words += [_Keyword(k, str(commodity), str(kind)) for k in dict.fromkeys(map(_plain, names)) if k]
    return words


def _pattern(keyword: str) -> re.Pattern[str]:
    """Keyword as words of their own, in the plural too, or as the end of a compound word ("Getriebemotor")."""
    body = re.escape(keyword)
    if _CJK.search(keyword):
        return re.compile(body)
    before = r"\b" if len(keyword) < 4 else r"(?:\b|(?<=[^\W\d_]{3}))"  # noqa: PLR2004  (short ends are in many words)
    return re.compile(rf"{before}{body}(?:s|es|en|e|n)?\b")


def _best(text: str, keywords: Iterable[_Keyword]) -> tuple[str, float]:
    """Commodity with the surest keyword; the longer keyword of two that are as sure."""
    if not text:
        return "", 0.0
    end = _ENDS.search(text, 1)
    phrase = _SIZES.sub(" ", text[: end.start()] if end else text)
    phrase = re.sub(r"\s+", " ", phrase).strip()
    hits: dict[str, tuple[float, int]] = {}
    kinds: dict[str, str] = {}
    for keyword in keywords:
        if keyword.text not in text and keyword.text not in phrase:  # far cheaper than trying its pattern
            continue
        score = _score(keyword, text, phrase)
        if score > 0:
            kinds[keyword.commodity] = keyword.kind
            hits[keyword.commodity] = max(hits.get(keyword.commodity, (0.0, 0)), (score, len(keyword.text)))
    if not hits:
        return _alike(phrase, keywords)
    ranked = sorted(hits.items(), key=lambda hit: (-hit[1][0], -hit[1][1], hit[0]))
    if kinds[ranked[0][0]] in _MADE_TO_DRAWING:  # a cover is moulded unless it is said to be cast; a pump is a pump
        ranked.sort(key=lambda hit: hit[1][0] != MAKING)
    commodity, (score, length) = ranked[0]
    rivals = [1 for _, other in ranked[1:] if other == (score, length)]
    return commodity, score * (_RIVAL if rivals else 1.0)


def _score(keyword: _Keyword, text: str, phrase: str) -> float:
    places = [m.span() for m in keyword.pattern.finditer(phrase)]
    if not places:
        return _score_after(keyword, text)
    start, end = places[-1]
    if (start, end) == (0, len(phrase)):
        return WHOLE
    if keyword.kind == _MATERIAL and end < len(phrase):
        return 0.0
    cjk = _CJK.search(phrase) is not None
    first_is_head = _ROMANCE.search(phrase) is not None and not cjk
    if end == len(phrase):
        return BESIDE if first_is_head else HEAD
    if start == 0:
        return HEAD if first_is_head or cjk else START
    return BESIDE


def _score_after(keyword: _Keyword, text: str) -> float:
    """Confidence of a keyword outside the first phrase."""
    if keyword.kind == _MATERIAL or not keyword.pattern.search(text):
        return 0.0
    said = text.partition(",")[2].strip()
    return MAKING if keyword.kind in _MADE_TO_DRAWING and keyword.pattern.match(said) else AFTER


def _alike(phrase: str, keywords: Iterable[_Keyword]) -> tuple[str, float]:
    """A misspelt keyword that is the whole phrase or its last word."""
    from rapidfuzz import fuzz, process  # noqa: PLC0415  (only for descriptions that hold no keyword)

    known = {k.text: k.commodity for k in keywords if len(k.text) >= _FUZZY_LETTERS}
    for part, worth in ((phrase, WHOLE), (phrase.rpartition(" ")[2], HEAD)):
        if len(part) >= _FUZZY_LETTERS:
            best = process.extractOne(part, list(known), scorer=fuzz.ratio, score_cutoff=_FUZZY_LEAST)
            if best is not None:
                return known[str(best[0])], _FUZZY_WORTH * worth
    return "", 0.0


def _plain(text: str) -> str:
    text = unicodedata.normalize("NFKD", text.casefold())
    text = unicodedata.normalize("NFC", "".join(c for c in text if not 0x300 <= ord(c) <= 0x36F))  # noqa: PLR2004
    return re.sub(r"\s+", " ", text).strip()
