"""Bytes of a text table → records: encoding, line ends, delimiter, quoting."""

from __future__ import annotations

import csv
import io
from collections import Counter
from dataclasses import dataclass

DELIMITERS = (",", ";", "\t", "|")
_SAMPLE_LINES = 200
_BOMS = (
    (b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe\x00\x00", "utf-32"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"),
)  # fmt: skip


@dataclass(frozen=True)
class TextTable:
    """Records of a text table and how they were read."""

    rows: list[list[str]]
    encoding: str
    delimiter: str
    guessed_encoding: bool
    nulls: bool


def read_text(data: bytes) -> TextTable:
    """Decode and split a text table; every record counts as a row, blank ones too.

    Notes
    -----
    Line ends may be any of the three kinds. The delimiter is the one that splits the first lines into the most even
    records. Where quotes do not pair up (an inch mark), records are split without regard to quotes.
    """
    text, encoding, guessed = decode(data)
    nulls = "\x00" in text
    if nulls:
        text = text.replace("\x00", "")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    delimiter = find_delimiter(text)
    return TextTable(split_records(text, delimiter), encoding, delimiter, guessed, nulls)


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
    """Delimiter that splits the first lines most evenly into the most fields; "," where there is only one column."""
    lines = [line for line in text.split("\n", _SAMPLE_LINES)[:_SAMPLE_LINES] if line.strip()]
    best, best_score = ",", 0.0
    for delimiter in DELIMITERS:
        counts = [len(r) for r in csv.reader(lines, delimiter=delimiter, strict=False) if r]
        wide = [c for c in counts if c > 1]
        if not wide:
            continue
        common, times = Counter(wide).most_common(1)[0]
        score = times / len(counts) + min(common, 8) / 100
        if score > best_score:
            best, best_score = delimiter, score
    return best


def split_records(text: str, delimiter: str) -> list[list[str]]:
    """Split into records, with quoting where quotes pair up, else without."""
    csv.field_size_limit(1 << 24)
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
