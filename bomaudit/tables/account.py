"""What became of every row of a file: nothing vanishes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.tables.locate import Block
from bomaudit.tables.sheets import Sheet

COLUMNS = ("file", "sheet", "row", "kind", "text")
_RANK = ("assembly", "part", "charge", "alternative", "total", "subtotal", "header", "heading", "note", "blank", "line")
"""Where two tables share a row, the kind that counts comes first."""
_LONGEST = 200


def account(
    sheets: Sequence[Sheet], blocks: Sequence[tuple[Block, NDArray[np.object_], NDArray[np.object_]]]
) -> pd.DataFrame:
    """One row for each row of each sheet.

    Parameters
    ----------
    sheets : sequence of Sheet
        All sheets of the file, read or not.
    blocks : sequence of (Block, kind, text)
        Kinds and texts of the rows below each header that was read.

    Returns
    -------
    DataFrame
        file, sheet, row (1-based), kind, text; rows outside the tables are notes or blank.
    """
    frames = []
    for sheet in sheets:
        kind = np.full(sheet.n_rows, "", dtype=object)
        text = np.full(sheet.n_rows, "", dtype=object)
        for block, kinds, texts in blocks:
            if (block.sheet.name, block.sheet.turned) == (sheet.name, False):
                _enter(kind, text, block, kinds, texts)
        for row in np.flatnonzero(kind == ""):
            text[row] = text[row] or _row_text(sheet, int(row))
            kind[row] = "note" if text[row] else "blank"
        frames.append(
            pd.DataFrame(
                {
                    "file": sheet.file,
                    "sheet": sheet.name,
                    "row": np.arange(1, sheet.n_rows + 1),
                    "kind": kind,
                    "text": text,
                }
            )
        )
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(COLUMNS))


def _enter(
    kind: NDArray[np.object_],
    text: NDArray[np.object_],
    block: Block,
    kinds: NDArray[np.object_],
    texts: NDArray[np.object_],
) -> None:
    for row in block.header_rows:
        kind[row], text[row] = "header", _row_text(block.sheet, row)
    span = slice(block.first, block.last)
    rank = {k: i for i, k in enumerate(_RANK)} | {"": len(_RANK)}
    before = kind[span]
    better = (before == "") & (kinds != "")
    taken = np.flatnonzero(before != "")
    better[taken] = [rank[a] < rank[b] for a, b in zip(kinds[taken], before[taken], strict=True)]
    kind[span] = np.where(better, kinds, before)
    text[span] = np.where(better, texts, text[span])


def _row_text(sheet: Sheet, row: int) -> str:
    cells = (str(c[row]).strip() for c in sheet.columns if c[row] not in ("", None))
    return " | ".join(t for t in cells if t)[:_LONGEST]
