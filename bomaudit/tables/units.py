"""Units of quantity: trade words to one spelling, conversion within a dimension only."""

from __future__ import annotations

from collections import Counter
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

_SPELLINGS = {
    "pcs": "pcs pc pc. pcs. pce pces piece pieces ea ea. each unit units nos no x × st st. stk stk. stück stueck stck szt szt. sztuk sztuki шт шт. "
           "штук pz pz. pezzi pezzo uds ud ud. u unidad unidades un und pièce pièces piece(s) pc(s) stuks ks kus 个 件 只 個 枚 本 台 つ ケ 개 ea 片 块 支 套件",
    "lot": "psch psch. pauschal lump lumpsum ls forfait ryczałt", "set": "set sets set. satz sätze kit kits jeu jeux juego zestaw kpl kpl. komplet компл комплект 套 组 組 セット 세트 conjunto",
    "pair": "pair pairs pr paar paire par para пара 对 双 対",
    "m": "m meter metre meters metres mtr mtr. lfm lfdm м метр 米 メートル mètre mètres metro metros", "cm": "cm см 厘米", "mm": "mm мм 毫米",
    "ft": "ft ft. feet foot '", "inch": "in in. inch inches zoll \" ″ pouce", "yd": "yd yard yards",
    "kg": "kg kgs kilo кг 千克 公斤 kilogram", "g": "g gr gram grams gramm г 克 グラム", "mg": "mg", "lb": "lb lbs pound pounds", "oz": "oz ounce",
    "l": "l ltr liter litre liters litres л 升 リットル", "ml": "ml мл 毫升", "gal": "gal gallon gallons", "m2": "m2 m² qm sqm м2 м² 平方米", "m3": "m3 m³ cbm",
    "h": "h hr hrs hour hours std stunde stunden heure heures godz ч час 小时 時間", "roll": "roll rolls rolle rouleau rollo rolka 卷 рулон",
    "pack": "pack packs pkg pk package packages packung pkt paquet paquete op op. opak opak. уп уп. упак 包 盒 袋 袋入 bag bags box boxes",
}  # fmt: skip
_WORDS = {word: unit for unit, words in _SPELLINGS.items() for word in words.split()}
_MEASURES = {
    "m": "m", "cm": "cm", "mm": "mm", "ft": "ft", "inch": "inch", "yd": "yard", "kg": "kg", "g": "g", "mg": "mg", "lb": "lb", "oz": "oz", "l": "liter",
    "ml": "milliliter", "gal": "gallon", "m2": "m**2", "m3": "m**3", "h": "hour",
}  # fmt: skip
COUNTS = frozenset({"pcs", "lot", "set", "pair", "roll", "pack"})


def spelling(word: str) -> str:
    """One spelling of a unit word: "Stk." → pcs; "" for a word that is no unit known here."""
    return _WORDS.get(word.strip().lower(), "")


def is_measure(unit: str) -> bool:
    """Whether a unit measures (length, mass, volume, area, time) and does not count."""
    return unit in _MEASURES


@cache
def factor(unit: str, target: str) -> float:
    """Units of ``target`` in one ``unit``; NaN across dimensions or for counts."""
    if unit == target:
        return 1.0
    if unit not in _MEASURES or target not in _MEASURES:
        return float("nan")
    import pint  # noqa: PLC0415  (only where a file mixes units)

    registry: Any = pint.UnitRegistry()
    try:
        return float((1 * registry(_MEASURES[unit])).to(_MEASURES[target]).magnitude)
    except pint.DimensionalityError:
        return float("nan")


def in_column_units(
    value: NDArray[np.float64], words: NDArray[np.object_], column: NDArray[np.object_]
) -> tuple[NDArray[np.float64], NDArray[np.object_], NDArray[np.bool_]]:
    """Bring quantities with a unit in the cell to the unit of their line.

    Parameters
    ----------
    value, words : arrays
        Number and unit word of each quantity cell.
    column : object array
        Unit of the line as its own column states it, "" where it does not.

    Returns
    -------
    value : float array
        Converted where the two differ within a dimension.
    unit : object array
        Unit of the line: its column's, else the cell's.
    clash : bool array
        Lines whose two units do not convert; the number is left as it is.
    """
    value, unit = value.copy(), column.astype(object).copy()
    clash = np.zeros(len(value), dtype=bool)
    for i in np.flatnonzero(words != ""):
        inside = spelling(words[i])
        if not inside:
            continue
        if not column[i]:
            unit[i] = inside
            continue
        own = spelling(column[i])
        if own and own != inside:
            rate = factor(inside, own)
            clash[i] = not np.isfinite(rate)
            value[i] *= rate if np.isfinite(rate) else 1.0
    return value, unit, clash


def most_common(units: NDArray[np.object_]) -> str:
    """Unit most lines state; "" where none does."""
    counted = Counter(u for u in units if u)
    return min(counted, key=lambda u: (-counted[u], u)) if counted else ""
