"""Files out of a reconciliation: plain csv, amounts as the exact decimals they are."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from bomaudit.finance.approvals import read_approvals
from bomaudit.findings import BadInput, error, to_frame
from bomaudit.report.as_data import as_json
from bomaudit.report.files import write_csv

if TYPE_CHECKING:
    from bomaudit.finance.reconcile import Reconciled
    from bomaudit.settings import FinanceSection

PROPOSED = "standards_proposed.csv"
NAMES = (
    "parts.csv", "rolled.csv", "bridge.csv", PROPOSED, "revaluation.csv", "journal.csv", "ageing.csv", "findings.csv",
    "reconcile.json",
)  # fmt: skip
SCHEMA = "bomaudit-reconcile/1"
_TEXTS = frozenset({"part_no", "account", "text", "state", "approved_by", "approved_on", "rule", "kind", "description"})


def write_reconciled(
    reconciled: Reconciled, out: Path, *, finance: FinanceSection, approvals: pd.DataFrame | None = None
) -> list[Path]:
    """Write the files of a reconciliation.

    Parameters
    ----------
    reconciled : Reconciled
    out : Path
        Folder; made where it is missing.
    finance : FinanceSection
        The policy, written beside what came of it.
    approvals : DataFrame, optional
        What was read from ``standards_proposed.csv`` for this reconciliation.

    Returns
    -------
    list of Path
        In the order of :data:`NAMES`.

    Raises
    ------
    BadInput
        ``K025`` if ``standards_proposed.csv`` was edited since ``approvals`` were read: it is left alone.
    OSError
        If a file cannot be written.

    Notes
    -----
    All files are written and kept by the disk before the first is put in place, and each takes the place of its
    predecessor in one step: whenever the run is interrupted, the file of approvals is the old one or the new one.
    ``reconcile.json`` comes last, with the SHA-256 of the others.
    """
    out.mkdir(parents=True, exist_ok=True)
    _not_edited_since(out / PROPOSED, approvals)
    frames = {
        "parts.csv": reconciled.parts,
        "rolled.csv": reconciled.rolled,
        "bridge.csv": reconciled.bridge,
        PROPOSED: reconciled.proposed,
        "revaluation.csv": reconciled.revalued,
        "journal.csv": reconciled.journal,
        "ageing.csv": reconciled.ageing,
        "findings.csv": to_frame(reconciled.findings),
    }
    with tempfile.TemporaryDirectory(prefix=".incoming-", dir=out) as made:
        for name, frame in frames.items():
            write_csv(_texts(frame), Path(made) / name)
        digests = {name: hashlib.sha256((Path(made) / name).read_bytes()).hexdigest() for name in frames}
        summary = as_data(reconciled, finance) | {"files": digests}
        (Path(made) / "reconcile.json").write_text(as_json(summary), encoding="utf-8")
        for name in NAMES:
            with (Path(made) / name).open("rb+") as written:
                os.fsync(written.fileno())
        for name in NAMES:
            (Path(made) / name).replace(out / name)
    return [out / name for name in NAMES]


def as_data(reconciled: Reconciled, finance: FinanceSection) -> dict[str, object]:
    """Plain data of a reconciliation: totals, bridge of the product, policy and cautions; amounts as exact text."""
    bridge = reconciled.bridge[reconciled.bridge["scope"].isin(["product", "year"])]
    return {
        "schema": SCHEMA,
        "as_of": reconciled.as_of.isoformat(),
        "currency": reconciled.currency,
        "totals": {n: None if v is None else str(v) for n, v in reconciled.totals.items()},
        "bridge": [{k: str(v) for k, v in row.items()} for row in bridge.drop(columns="part_no").to_dict("records")],
        "policy": finance.model_dump(mode="json"),
        "cautions": list(reconciled.cautions),
        "findings": [str(f) for f in reconciled.findings],
    }


def _texts(frame: pd.DataFrame) -> pd.DataFrame:
    """Columns of text as such, empty where missing; decimals stay."""
    texts = [c for c in frame if c in _TEXTS and frame[c].dtype == object]
    return frame.assign(**{str(c): frame[c].fillna("").astype("str") for c in texts})


def _not_edited_since(path: Path, approvals: pd.DataFrame | None) -> None:
    now, _ = read_approvals(path)
    seen = now.iloc[:0] if approvals is None else approvals
    if not now.astype("str").equals(seen.astype("str").reindex(columns=now.columns)):
        raise BadInput(
            error("K025", "proposed standards must not be edited while they are reconciled", file=str(path),
                  assumed="the file is left as it is", advice="reconcile again")
        )  # fmt: skip
