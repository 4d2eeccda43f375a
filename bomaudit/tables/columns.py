"""The columns of a block, and which of them is taken for which name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bomaudit.tables.evidence import Evidence
from bomaudit.tables.headers import Header
from bomaudit.tables.profile import Profile

LEAST = 0.35
"""Below this confidence a column is not taken for a name."""


@dataclass(frozen=True)
class Mapped:
    """A column taken for a canonical name."""

    name: str
    column: int
    header: str
    confidence: float
    how: str


@dataclass(frozen=True)
class Columns:
    """Headers and content of the columns of a block, and the totals of its sheet."""

    headers: Sequence[Header]
    profiles: Sequence[Profile]
    evidence: Evidence

    def pairs(self) -> Iterator[tuple[int, Header, Profile]]:
        """Yield index, header and profile of each column."""
        for c, (header, profile) in enumerate(zip(self.headers, self.profiles, strict=True)):
            yield c, header, profile

    @property
    def rows(self) -> int:
        """Cells of the fullest column."""
        return max((p.filled for p in self.profiles), default=0)
