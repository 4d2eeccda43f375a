"""Two audits of the same BOM: what went stale, what was resolved, what moved beyond noise, which verdicts changed, why.

Rows are matched by part number (by description where there is none) and, where a part stands several times, by what
they state and by their order, so rows that were inserted or moved do not count as changes.

Findings: ``H010`` audits in different currencies, ``H011`` the reasons are read from the results and not from audits
run again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from bomaudit.findings import BadInput, Finding, error, note
from bomaudit.glossary import WALK_STEPS
from bomaudit.history.actions import state_of
from bomaudit.history.causes import CAUSES, STATED, Causes, causes_from_results, differ
from bomaudit.history.snapshot import Snapshot, keys_of_both

STEPS = ("booked", *WALK_STEPS)
"""Steps of a change of the estimate: of the booked cost, and of each step of the cost walk; they add up to it."""

CHANGES = ("added", "removed", "newly stale", "resolved", "status changed", "moved", "restated", "same")
"""In this order: the first that holds. moved: the new estimate is outside the old interval; restated: another booked
price, currency, quantity or volume counts."""

_BOTH = ("line_id", "status", "booked_cost", "estimate", "estimate_low", "estimate_high", "exposure_per_year")
_DECISION_BOTH = ("chosen", "best_today", "verdict", "saving_today", "npv", "p_flip", "reason")


@dataclass(frozen=True)
class Compared:
    """The difference between two audits.

    Attributes
    ----------
    old, new : Snapshot
    lines : DataFrame
        One row a line of either: ``part_no``, ``description``, ``commodity``, ``change`` (one of :data:`CHANGES`),
        ``<name>_old`` and ``<name>_new`` of line_id, status, booked_cost, estimate, estimate_low, estimate_high,
        exposure_per_year, ``d_estimate`` and its ``d_<step>``, ``effect_<cause>``, ``why`` (data, curve, time,
        setting or empty), ``action``, ``action_on`` and ``action_reason`` (the newest action on the part). Worst
        first: newly stale, then by the change of exposure. [currency/uom, currency/year]
    decisions : DataFrame
        One row a decision of either: ``decision``, ``title``, ``change`` (added, removed, verdict changed, best option
        changed, same), ``<name>_old`` and ``<name>_new`` of chosen, best_today, verdict, saving_today, npv, p_flip,
        reason, ``effect_<cause>`` on saving_today, ``why``, and the action columns.
    settings : DataFrame
        ``setting``, ``old``, ``new``: those that differ.
    inputs : DataFrame
        ``table``, ``change`` (added, removed, changed) of input files, library and packages.
    counts : dict of str to int
        Lines by change, and ``verdicts changed``.
    findings : tuple of Finding
    """

    old: Snapshot
    new: Snapshot
    lines: pd.DataFrame
    decisions: pd.DataFrame
    settings: pd.DataFrame
    inputs: pd.DataFrame
    counts: dict[str, int]
    findings: tuple[Finding, ...]

    def only(self, change: str) -> pd.DataFrame:
        """Lines with that change."""
        return self.lines[self.lines["change"] == change]


def compare(
    old: Snapshot, new: Snapshot, *, causes: Causes | None = None, actions: pd.DataFrame | None = None
) -> Compared:
    """Compare two audits of a BOM.

    Parameters
    ----------
    old, new : Snapshot
    causes : Causes, optional
        From :func:`bomaudit.history.causes.causes_by_rerun`, which runs the audits between the two. Without it the
        reasons are read from what differs in the results.
    actions : DataFrame, optional
        From :func:`bomaudit.history.actions.read_actions`: where parts and decisions stand.

    Returns
    -------
    Compared

    Raises
    ------
    BadInput
        ``H010`` if they are in different currencies.
    """
    if old.currency != new.currency:
        raise BadInput(
            error("H010", "audits must be in one currency to be compared", found=f"{old.currency} and {new.currency}",
                  advice="audit again with the same currency under [audit]")
        )  # fmt: skip
    findings: list[Finding] = []
    if causes is None:
        causes = causes_from_results(old, new)
        findings.append(
            note("H011", "reasons for changes are surest from audits run again",
                 assumed="read from what differs between the two results")
        )  # fmt: skip
    lines = _with_actions(_lines(old, new, causes), actions, about="part", by="part_no")
    decisions = _with_actions(_decisions(old, new, causes), actions, about="decision", by="decision")
    counts = {change: int((lines["change"] == change).sum()) for change in CHANGES}
    counts["verdicts changed"] = int((decisions["change"] == "verdict changed").sum())
    return Compared(
        old,
        new,
        lines,
        decisions,
        settings_that_differ(old, new),
        inputs_that_differ(old, new),
        counts,
        tuple(findings),
    )


def settings_that_differ(old: Snapshot, new: Snapshot) -> pd.DataFrame:
    """Tabulate the settings that differ, as-of date and files apart: those are time and data."""
    before, after = _flat(old.settings), _flat(new.settings)
    names = [n for n in sorted(before | after) if before.get(n) != after.get(n) and not _not_a_setting(n)]
    rows = [(n, _shown(before.get(n)), _shown(after.get(n))) for n in names]
    return pd.DataFrame(rows, columns=["setting", "old", "new"], dtype="str")


def inputs_that_differ(old: Snapshot, new: Snapshot) -> pd.DataFrame:
    """Input files, curve library and packages that differ."""
    before = old.inputs | {"learning curves": old.library} | {f"package {k}": v for k, v in old.versions.items()}
    after = new.inputs | {"learning curves": new.library} | {f"package {k}": v for k, v in new.versions.items()}
    rows = [
        (n, "added" if n not in before else "removed" if n not in after else "changed")
        for n in sorted(before | after)
        if before.get(n) != after.get(n)
    ]
    return pd.DataFrame(rows, columns=["table", "change"], dtype="str")


def _lines(old: Snapshot, new: Snapshot, causes: Causes) -> pd.DataFrame:
    before, after = (s.tables["lines"] for s in (old, new))
    both = (*_BOTH, *STATED, *(f"walk_{s}" for s in WALK_STEPS))
    keys = keys_of_both(before, after)
    joined = _joined(before, keys[0], after, keys[1], both)
    texts = ("part_no", "description", "commodity")
    out = pd.DataFrame({name: joined[name] for name in texts}, index=joined.index)
    out["change"] = _changes(joined)
    for name in _BOTH:
        out[f"{name}_old"], out[f"{name}_new"] = joined[f"{name}_old"], joined[f"{name}_new"]
    out["d_estimate"] = joined["estimate_new"] - joined["estimate_old"]
    estimated = out["d_estimate"].notna()
    out["d_booked"] = (joined["booked_cost_new"] - joined["booked_cost_old"]).where(estimated)
    for step in WALK_STEPS:
        out[f"d_{step}"] = joined[f"walk_{step}_new"] - joined[f"walk_{step}_old"]
    out = _with_causes(out, causes.lines, unchanged=out["change"] == "same")
    restated = causes.lines["restated"].reindex(out.index).fillna("")
    out["why"] = out["why"].where(out["change"] != "restated", restated)
    rank = out["change"].map({c: k for k, c in enumerate(CHANGES[2:-1])})
    moved = (out["exposure_per_year_new"].fillna(0.0) - out["exposure_per_year_old"].fillna(0.0)).abs()
    order = np.lexsort((np.arange(len(out)), -moved.to_numpy(), rank.fillna(len(CHANGES)).to_numpy()))
    return out.iloc[order].reset_index(drop=True)


def _changes(joined: pd.DataFrame) -> pd.Series:
    before, after = joined["status_old"], joined["status_new"]
    outside = (joined["estimate_new"] < joined["estimate_low_old"]) | (
        joined["estimate_new"] > joined["estimate_high_old"]
    )
    restated = np.any([differ(joined[f"{name}_old"], joined[f"{name}_new"]) for name in STATED], axis=0)
    change = np.select(
        [
            (joined["held"] == "right_only").to_numpy(bool),
            (joined["held"] == "left_only").to_numpy(bool),
            ((after == "stale") & (before != "stale")).to_numpy(bool),
            ((before == "stale") & (after != "stale")).to_numpy(bool),
            (before != after).to_numpy(bool),
            outside.to_numpy(bool),
            restated,
        ],
        list(CHANGES[:-1]),
        default=CHANGES[-1],
    )
    return pd.Series(change, index=joined.index, dtype="str")


def _decisions(old: Snapshot, new: Snapshot, causes: Causes) -> pd.DataFrame:
    before, after = (s.tables["decisions"] for s in (old, new))
    joined = _joined(before, before["decision"], after, after["decision"], _DECISION_BOTH, texts=("decision", "title"))
    change = np.select(
        [
            (joined["held"] == "right_only").to_numpy(bool),
            (joined["held"] == "left_only").to_numpy(bool),
            (joined["verdict_old"] != joined["verdict_new"]).to_numpy(bool),
            (joined["best_today_old"] != joined["best_today_new"]).to_numpy(bool),
        ],
        ["added", "removed", "verdict changed", "best option changed"],
        default="same",
    )
    names = [f"{n}_{side}" for n in _DECISION_BOTH for side in ("old", "new")]
    out = joined[["decision", "title", *names]].copy()
    out.insert(2, "change", pd.Series(change, index=out.index, dtype="str"))
    return _with_causes(out, causes.decisions, unchanged=out["change"] == "same").reset_index(drop=True)


def _joined(
    before: pd.DataFrame,
    keys_before: pd.Series,
    after: pd.DataFrame,
    keys_after: pd.Series,
    both: tuple[str, ...],
    *,
    texts: tuple[str, ...] = ("part_no", "description", "commodity"),
) -> pd.DataFrame:
    """Rows of both, matched by key (the index), in the order of the new one, then those that only the old one has."""
    left = before[[*both, *texts]].set_axis(keys_before.to_numpy(), axis=0)
    right = after[[*both, *texts]].set_axis(keys_after.to_numpy(), axis=0)
    keys = [*right.index, *left.index.difference(right.index, sort=False)]
    left, right = left.reindex(keys), right.reindex(keys)
    out = pd.DataFrame(index=pd.Index(keys, dtype="str"))
    has_left, has_right = out.index.isin(keys_before.to_numpy()), out.index.isin(keys_after.to_numpy())
    out["held"] = np.select([has_left & has_right, has_right], ["both", "right_only"], default="left_only")
    for name in texts:
        out[name] = right[name].where(has_right, left[name])
    for name in both:
        out[f"{name}_old"], out[f"{name}_new"] = left[name], right[name]
    return out


def _with_causes(out: pd.DataFrame, causes: pd.DataFrame, *, unchanged: pd.Series) -> pd.DataFrame:
    held = causes.reindex(out.index)
    for cause in CAUSES:
        out[f"effect_{cause}"] = held[f"effect_{cause}"]
    why = held["why"].fillna("").astype("str")
    added = out["change"].isin(["added", "removed"])
    out["why"] = why.mask(unchanged, "").mask(added, "data")
    return out


def _with_actions(out: pd.DataFrame, actions: pd.DataFrame | None, *, about: str, by: str) -> pd.DataFrame:
    none = pd.DataFrame({c: pd.Series(dtype="str") for c in ("state", "on", "reason")})
    stand = none if actions is None else state_of(actions, about=about)
    held = stand.reindex(out[by])
    named = {"action": "state", "action_on": "on", "action_reason": "reason"}
    return out.assign(**{n: held[c].astype(object).fillna("").astype("str").to_numpy() for n, c in named.items()})


def _flat(settings: dict[str, object], prefix: str = "") -> dict[str, object]:
    flat: dict[str, object] = {}
    for name, value in settings.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{prefix}{name}.")
        else:
            flat[f"{prefix}{name}"] = value
    return flat


def _not_a_setting(name: str) -> bool:
    return name == "audit.as_of" or name.startswith(("files.", "report."))


def _shown(value: object) -> str:
    return "" if value is None else str(value)
