"""Does a row bear on safety? Its column says so, or else a remark: what stands there in words is not read as "no"."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

_SAYS = re.compile(
    r"\bsafety[\s-]*(?:relevant|critical|related|part|component|item)s?\b"
    r"|\bsicherheits[\s-]?(?:relevant\w*|kritisch\w*|(?:bau)?teile?)\b"
    r"|\b(?:pi[eè]ce|composant|organe)s? de s[eé]curit[eé]\b|\b(?:critique|important)e?s? pour la s[eé]curit[eé]\b"
    r"|\b(?:pieza|componente)s? de seguridad\b|\b(?:relevante|cr[ií]tic[oa])s? para la seguridad\b"
    r"|\bcomponent[ei] di sicurezza\b|\b(?:rilevante|critic[oa]) per la sicurezza\b"
    r"|\b(?:wa[zż]n|istotn|krytyczn)\w* dla bezpiecze[nń]stwa\b"
    r"|保安部品|安全(?:関連|重要|关键|相关|件)",
    re.IGNORECASE,
)
_DENIES = re.compile(r"\b(?:not?|non|nicht|kein\w*|pas|nie|sin)(?:\s+(?:a|an|de|una?|un))?\s*-?\s*$", re.IGNORECASE)


def said_in_remarks(stated: pd.Series, remarks: pd.Series) -> pd.Series:
    """Rows whose remark says that they bear on safety while their column says nothing.

    Parameters
    ----------
    stated : Series of boolean
        Column ``safety_relevant``; missing where it says nothing.
    remarks : Series of str
        Column ``note``.

    Returns
    -------
    Series of bool
        ``not safety relevant`` is no such remark.
    """
    code, distinct = pd.factorize(remarks.fillna(""))
    says = np.array([_says(str(text)) for text in distinct], dtype=bool)
    return pd.Series(says[code] if len(says) else np.zeros(len(remarks), dtype=bool), remarks.index) & stated.isna()


def _says(remark: str) -> bool:
    return any(not _DENIES.search(remark[: found.start()]) for found in _SAYS.finditer(remark))
