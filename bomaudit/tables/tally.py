"""Lines with the same trouble, told once: how many, and where the first is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bomaudit.findings import Finding, Severity


@dataclass
class Tally:
    """Collects findings about lines of one table.

    Attributes
    ----------
    rows : int array
        1-based row of each line.
    where : dict
        File and sheet.
    findings : list of Finding
    """

    rows: NDArray[np.intp]
    where: dict[str, Any]
    findings: list[Finding] = field(default_factory=list)

    def say(
        self, severity: Severity, code: str, message: str, at: NDArray[np.bool_], *, assumed: str = "", advice: str = ""
    ) -> None:
        """Add a finding about the lines where ``at`` is true; none where there are none."""
        if not at.any():
            return
        first = int(self.rows[np.flatnonzero(at)[0]])
        count = int(at.sum())
        found = "1 line" if count == 1 else f"{count} lines, the first in row {first}"
        where = {**self.where, "row": first}
        self.findings.append(
            Finding(code=code, severity=severity, message=message, found=found, assumed=assumed, advice=advice, **where)
        )

    def error(self, code: str, message: str, at: NDArray[np.bool_], *, assumed: str = "", advice: str = "") -> None:
        """As :meth:`say`, an error."""
        self.say(Severity.ERROR, code, message, at, assumed=assumed, advice=advice)

    def warning(self, code: str, message: str, at: NDArray[np.bool_], *, assumed: str = "", advice: str = "") -> None:
        """As :meth:`say`, a warning."""
        self.say(Severity.WARNING, code, message, at, assumed=assumed, advice=advice)

    def note(self, code: str, message: str, at: NDArray[np.bool_], *, assumed: str = "", advice: str = "") -> None:
        """As :meth:`say`, a note."""
        self.say(Severity.NOTE, code, message, at, assumed=assumed, advice=advice)
