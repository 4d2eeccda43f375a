"""Which market a part is bought from, by the keywords of the commodity catalogue."""

from __future__ import annotations

import unicodedata

import numpy as np
import numpy.typing as npt
import pandas as pd


def classify(
    descriptions: pd.Series, commodities: pd.DataFrame
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.float64]]:
    """Commodity of each description and how sure, by the longest keyword found in it."""
    labels, unique = pd.factorize(descriptions.fillna(""))
    words = [
        (_plain(k), str(c)) for c, ks in zip(commodities["commodity"], commodities["keywords"], strict=True)
        for k in str(ks).split(";") if k.strip()
    ]  # fmt: skip
    found, sure = [], []
    for text in (_plain(str(u)) for u in unique):
        hits = sorted({(len(k), c) for k, c in words if k in text}, reverse=True)
        found.append(hits[0][1] if hits else "")
        rivals = {c for n, c in hits if n >= hits[0][0] - 1}
        sure.append(0.0 if not hits else 0.8 / len(rivals))
    return np.array(found, dtype=object)[labels], np.array(sure, dtype=float)[labels]


def _plain(text: str) -> str:
    text = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in text if not unicodedata.combining(c)).strip()
