"""Bytes of a text table → records: encoding, line ends, delimiter, quoting."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np

from bomaudit.safe_text import unguard
from bomaudit.tables.sheets import Cells, columns_of

_LONG = 8 << 20
"""Longer texts are tried with a faster reader first [letters]."""
_LONGEST_FIELD = 1 << 24
DELIMITERS = (",", ";", "\t", "|")
_SAMPLE_LINES = 200
_FIELDS = 8
"""Fields from which on more of them say nothing more for a delimiter; fewer may be decimal commas or titles."""
_GUARDED = re.compile(r"(?:^|[,;|\t\"])'+\s*[=+\-@＝＋－＠]", re.MULTILINE)
"""Where a cell was kept from becoming a formula, by this program or another."""
_BOMS = (
    (b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe\x00\x00", "utf-32"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"),
)  # fmt: skip


@dataclass(frozen=True)
class TextTable:
    """Records of a text table and how they were read."""

    columns: tuple[Cells, ...]
    n_rows: int
    encoding: str
    delimiter: str
    guessed_encoding: bool
    nulls: bool


def read_text(data: bytes) -> TextTable:
    """Decode and split a text table; every record counts as a row, blank ones too.

    Notes
    -----
    Line ends may be any of the three kinds. The delimiter is the one that splits the first lines into the most even
    records. Where quotes do not pair up (an inch mark), records are split without regard to quotes. Apostrophes that
    keep a spreadsheet from taking a cell for a formula are dropped, so that our own files come back as they were.
    """
    text, encoding, guessed = decode(data)
    nulls = "\x00" in text
    if nulls:
        text = text.replace("\x00", "")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    delimiter = find_delimiter(text)
    columns, n_rows = _long_table(text, delimiter) or _any_table(text, delimiter)
    if "'" in text and _GUARDED.search(text):  # the first is a hundred times as fast
        for column in columns:
            column[:] = [unguard(c) if "'" in c else c for c in column]
    return TextTable(columns, n_rows, encoding, delimiter, guessed, nulls)


def _any_table(text: str, delimiter: str) -> tuple[tuple[Cells, ...], int]:
    rows = split_records(text, delimiter)
    return columns_of(rows), len(rows)


def _long_table(text: str, delimiter: str) -> tuple[tuple[Cells, ...], int] | None:
    """Columns of a long table whose records are even, by a faster reader; None where it is short or not even."""
    if len(text) < _LONG:
        return None
    import pyarrow as pa  # noqa: PLC0415  (only for long tables)
    import pyarrow.csv as reader  # noqa: PLC0415

    width = len(next(csv.reader([text[: text.find("\n")]], delimiter=delimiter), []))
    names = [str(i) for i in range(width)]
    try:
        table = reader.read_csv(
            pa.BufferReader(text.encode("utf-8", "surrogatepass")),
            read_options=reader.ReadOptions(column_names=names),
            parse_options=reader.ParseOptions(delimiter=delimiter, newlines_in_values=True, ignore_empty_lines=False),
            convert_options=reader.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False
            ),
        )
    except (pa.ArrowInvalid, UnicodeError):
        return None
    return tuple(_shared(column.combine_chunks()) for column in table.columns), table.num_rows


def _shared(column: Any) -> Cells:
    """Cells of an arrow column; equal texts are one object, which keeps a long table small."""
    encoded = column.dictionary_encode()
    texts = np.array([*encoded.dictionary.to_pylist(), ""], dtype=object)
    cells: Cells = texts[encoded.indices.to_numpy(zero_copy_only=False)]
    return cells


def decode(data: bytes) -> tuple[str, str, bool]:
    """Text, encoding, and whether it was guessed: by byte-order mark, else UTF-8, else from the letters."""
    for mark, name in _BOMS:
        if data.startswith(mark):
            return data.decode(name, errors="replace"), name, False
    try:
        return data.decode("utf-8"), "utf-8", False
    except UnicodeDecodeError:
        pass
    even, odd = data[:4000:2].count(0), data[1:4000:2].count(0)
    if max(even, odd) > len(data[:4000]) // 4:
        name = "utf-16-be" if even > odd else "utf-16-le"
        return data.decode(name, errors="replace"), name, True
    return _guess(data)


def _guess(data: bytes) -> tuple[str, str, bool]:
    from charset_normalizer import from_bytes  # noqa: PLC0415  (rarely needed)

    best = from_bytes(data[:200_000]).best()
    name = best.encoding if best is not None else "cp1252"
    return data.decode(name, errors="replace"), name, True


def find_delimiter(text: str) -> str:
    """Delimiter that splits most of the first lines into as many fields; "," where there is only one column."""
    csv.field_size_limit(_LONGEST_FIELD)
    lines = [line for line in text.split("\n", _SAMPLE_LINES)[:_SAMPLE_LINES] if line.strip()]
    best, best_score = ",", 0.0
    for delimiter in DELIMITERS:
        try:
            counts = [len(r) for r in csv.reader(lines, delimiter=delimiter, strict=False) if r]
        except csv.Error:  # a field of many megabytes: an unpaired quote, or no table at all
            continue
        wide = [c for c in counts if c > 1]
        if not wide:
            continue
        common, times = Counter(wide).most_common(1)[0]
        score = times / len(counts) * (min(common, _FIELDS) - 1)
        if score > best_score:
            best, best_score = delimiter, score
    return best


def split_records(text: str, delimiter: str) -> list[list[str]]:
    """Split into records, with quoting where quotes pair up, else without."""
    if delimiter != "\t" or '"' in text:
        rows = _records(text, delimiter, csv.QUOTE_MINIMAL)
        if rows is not None and not _swallowed(rows, delimiter):
            return rows
    return _records(text, delimiter, csv.QUOTE_NONE) or []


def _records(text: str, delimiter: str, quoting: int) -> list[list[str]] | None:
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, quoting=quoting))  # type: ignore[arg-type]
    except csv.Error:
        return None
    return rows


def _swallowed(rows: list[list[str]], delimiter: str) -> bool:
    """Whether a quote that was never meant as one swallowed records: a field that holds delimiters and line ends."""
    return any(
        f.count("\n") > 1 and f.count(delimiter) >= f.count("\n")
        for r in rows for f in r if "\n" in f
    )  # fmt: skip
