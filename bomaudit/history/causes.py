"""Why an audit says something else than the last one: time, settings, curves or data.

Surest is to change one thing after the other and audit again each time, from the stored input files:
old → today's program and curve library (curve) → new as-of date (time) → new settings (setting) → new volumes and input
prices (curve) → all new files (data). The effects add up to the whole change, by construction. Without the stored
files, the main reason is read from what differs in the results.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.glossary import WALK_STEPS
from bomaudit.history.snapshot import Snapshot, keys_of_both, snapshot_of
from bomaudit.settings import Settings

CAUSES = ("time", "setting", "curve", "data")
_MARKET_FILES = ("volumes", "input_prices", "fx")
_OWN_COLUMNS = ("booked_price", "booked_currency", "basis_date", "qty_per", "annual_volume", "commodity", "sourcing")
STATED = ("booked_price", "booked_currency", "qty_per", "annual_volume")
"""Figures of a line that the BOM states: one that differs is a line restated."""
_SAME = 1e-9
"""Figures closer than this share are the same."""


def differ(before: pd.Series, after: pd.Series) -> npt.NDArray[np.bool_]:
    """Where a column of one audit is not that of another; missing is missing in both."""
    apart = before.astype("str").to_numpy(dtype=object) != after.astype("str").to_numpy(dtype=object)
    return np.asarray(apart & ~(before.isna() & after.isna()).to_numpy(dtype=bool))


@dataclass(frozen=True)
class Causes:
    """Reasons for changes.

    Attributes
    ----------
    lines : DataFrame, index the line's key
        ``effect_<cause>`` on the estimate [currency/uom] and ``why``: the cause of the last change of status, or where
        the status is the same the cause with the largest effect; ``restated``: the cause of the last change of a
        figure that the BOM states, or empty.
    decisions : DataFrame, index the decision
        ``effect_<cause>`` on saving_today [currency/product] and ``why``, likewise of the verdict.
    """

    lines: pd.DataFrame
    decisions: pd.DataFrame


def causes_by_rerun(old: Snapshot, new: Snapshot, *, run: Callable[[Settings], Snapshot]) -> Causes | None:
    """Find the reasons by running the audits between two stored ones.

    Parameters
    ----------
    old, new : Snapshot
        Stored, with their input files.
    run : callable
        Audits under settings that name absolute files, and takes the snapshot: :func:`audit_again`.

    Returns
    -------
    Causes or None
        None if input files were not stored.

    Notes
    -----
    At most four audits are run; a step in which nothing differs costs nothing. The path matters where effects
    interact: what two causes do together goes to the later one.
    """
    stages = _stages(old, new, run)
    if stages is None:
        return None
    return Causes(
        lines=_effects(stages, "lines", "estimate", "status"),
        decisions=_effects(stages, "decisions", "saving_today", "verdict"),
    )


def audit_again(settings: Settings) -> Snapshot:
    """Audit the files that settings name, as :func:`causes_by_rerun` needs it."""
    from bomaudit.audit import audit  # noqa: PLC0415  (the whole model, needed only to run an audit again)

    return snapshot_of(audit(Path(), settings=settings))


def causes_from_results(old: Snapshot, new: Snapshot) -> Causes:
    """Find the main reasons from what differs between two results.

    Parameters
    ----------
    old, new : Snapshot

    Returns
    -------
    Causes
        Effects of lines are the steps of the cost walk: booked cost, own volume and newer quotes are data, the market's
        steps are curve where the commodity's fit differs, else time. Effects on decisions are not known (NaN).
    """
    before, after = old.tables["lines"], new.tables["lines"]
    keys = keys_of_both(before, after)
    left, right = (f.set_axis(k.to_numpy(), axis=0) for f, k in zip((before, after), keys, strict=True))
    both = right.index.intersection(left.index)
    left, right = left.loc[both], right.loc[both]
    step = {s: (right[f"walk_{s}"] - left[f"walk_{s}"]).fillna(0.0) for s in WALK_STEPS}
    data = (right["booked_cost"] - left["booked_cost"]).fillna(0.0) + step["own_volume"] + step["newer_quotes"]
    learned = step["experience"] + step["maturity"]
    refitted = right["commodity"].isin(_refitted(old, new))
    lines = pd.DataFrame(
        {
            "effect_time": step["currency"] + step["input_prices"] + learned.where(~refitted, 0.0),
            "effect_setting": 0.0,
            "effect_curve": learned.where(refitted, 0.0),
            "effect_data": data,
        },
        index=both,
    )
    own = np.any([differ(left[name], right[name]) for name in _OWN_COLUMNS], axis=0)
    same_price = np.isclose(left["estimate"], right["estimate"], rtol=1e-6, atol=0.0, equal_nan=True)
    largest = _largest(lines)
    settings_differ = _rules(old) != _rules(new)
    lines["restated"] = np.where(np.any([differ(left[n], right[n]) for n in STATED], axis=0), "data", "")
    lines["why"] = np.select(
        [own, same_price & settings_differ, largest == ""],
        ["data", "setting", "setting" if settings_differ else ""],
        default=largest,
    )
    return Causes(lines, _decisions_from_results(old, new, lines["why"], right["part_no"]))


def _stages(old: Snapshot, new: Snapshot, run: Callable[[Settings], Snapshot]) -> list[tuple[str, Snapshot]] | None:
    """Snapshots on the way from old to new, each with the cause of its difference from the one before."""
    files = {"old": old.rerun_settings(), "new": new.rerun_settings(), "mixed": None}
    if files["old"] is None or files["new"] is None:
        return None
    stages: list[tuple[str, Snapshot]] = []
    at = files["old"].model_copy(update={"audit": _at(files["old"], old)})
    if (old.library, old.versions) != (new.library, new.versions):
        stages.append(("curve", run(at)))
    dated = at.model_copy(update={"audit": _at(at, new)})
    if old.as_of != new.as_of:
        stages.append(("time", run(dated)))
    ruled = new.rerun_settings(files_of=old)
    if ruled is not None:
        ruled = ruled.model_copy(update={"audit": _at(ruled, new)})
        if _plain(ruled) != _plain(dated):
            stages.append(("setting", run(ruled)))
        moved = {t for t in _MARKET_FILES if old.inputs.get(t) != new.inputs.get(t)}
        if moved:
            stages.append(("curve", run(_with_tables(ruled, files["new"], moved))))
    return [("", old), *stages, ("data", new)]


def _with_tables(settings: Settings, of: Settings, tables: set[str]) -> Settings:
    """Settings that read some tables as others do: their files, and what is said of their sheets and columns."""
    names = of.files.model_dump()
    said = {
        part: {t: v for t, v in getattr(settings, part).items() if t not in tables}
        | {t: v for t, v in getattr(of, part).items() if t in tables}
        for part in ("sheets", "columns")
    }
    return settings.model_copy(
        update={"files": settings.files.model_copy(update={t: names[t] for t in tables}), **said}
    )


def _at(settings: Settings, of: Snapshot) -> object:
    return settings.audit.model_copy(update={"as_of": of.as_of, "currency": of.currency})


def _plain(settings: Settings) -> dict[str, object]:
    return settings.model_dump(exclude={"files", "report"})


def _effects(stages: list[tuple[str, Snapshot]], table: str, amount: str, verdict: str) -> pd.DataFrame:
    amounts, verdicts = [], []
    frames = [snapshot.tables[table] for _, snapshot in stages]
    for frame, named in zip(frames, _named(frames, table), strict=True):
        amounts.append(pd.Series(frame[amount].to_numpy(np.float64), index=named))
        verdicts.append(pd.Series(frame[verdict].astype("str").to_numpy(), index=named))
    keys = amounts[-1].index.intersection(amounts[0].index)
    out = pd.DataFrame({f"effect_{c}": 0.0 for c in CAUSES}, index=keys)
    last = pd.Series("", index=keys, dtype="str")
    for k, (cause, _) in enumerate(stages[1:], start=1):
        out[f"effect_{cause}"] += amounts[k].reindex(keys) - amounts[k - 1].reindex(keys)
        turned = verdicts[k].reindex(keys) != verdicts[k - 1].reindex(keys)
        last = last.mask(turned, cause)
    last = last.where(verdicts[-1].reindex(keys) != verdicts[0].reindex(keys), "")  # turned and turned back
    scale = amounts[-1].reindex(keys).abs()
    moved = out.abs().max(axis=1) > _SAME * scale.clip(lower=1.0)
    out["why"] = last.where(last != "", pd.Series(_largest(out), index=keys).where(moved, ""))
    return out.assign(restated=_restated(stages, frames, keys)) if table == "lines" else out


def _restated(stages: list[tuple[str, Snapshot]], frames: list[pd.DataFrame], keys: pd.Index) -> pd.Series:
    """Cause of the last change of a figure that the BOM states."""
    names = _named(frames, "lines")
    held = [f[list(STATED)].set_axis(n, axis=0).reindex(keys) for f, n in zip(frames, names, strict=True)]
    cause = pd.Series("", index=keys, dtype="str")
    for k, (what, _) in enumerate(stages[1:], start=1):
        cause = cause.mask(np.any([differ(held[k - 1][c], held[k][c]) for c in STATED], axis=0), what)
    return cause


def _named(frames: list[pd.DataFrame], table: str) -> list[npt.NDArray[np.object_]]:
    """Names of the rows of each stage: every stage but the last reads the older bill, row for row."""
    if table != "lines":
        return [frame["decision"].to_numpy(dtype=object) for frame in frames]
    before, after = keys_of_both(frames[0], frames[-1])
    named = [before if len(f) == len(before) else keys_of_both(f, frames[-1])[0] for f in frames[:-1]]
    return [keys.to_numpy(dtype=object) for keys in (*named, after)]


def _largest(effects: pd.DataFrame) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    """Name of the cause with the largest effect; empty where there is none."""
    size = effects[[f"effect_{c}" for c in CAUSES]].fillna(0.0).abs().to_numpy()
    names = np.array(CAUSES, dtype=object)[size.argmax(axis=1)] if len(size) else np.array([], dtype=object)
    return np.where(size.max(axis=1, initial=0.0) > 0, names, "")


def _decisions_from_results(old: Snapshot, new: Snapshot, why_line: pd.Series, part_no: pd.Series) -> pd.DataFrame:
    """Of the reasons of its parts the most frequent; else data if its elements differ, else settings, else time."""
    before, after = (s.tables["decisions"]["decision"] for s in (old, new))
    names = after[after.isin(before)].to_numpy()
    out = pd.DataFrame({f"effect_{c}": np.nan for c in CAUSES}, index=pd.Index(names, dtype="str"))
    of_part = pd.Series(why_line.to_numpy(), index=part_no.to_numpy())
    of_part = of_part[~of_part.index.duplicated()]
    default = "setting" if _rules(old) != _rules(new) else "time" if old.as_of != new.as_of else "data"
    stated = ["decision", "option", "element", "part_no", "qty", "basis", "booked_per_unit"]
    reasons = []
    for name in names:
        rows = [
            t[t["decision"] == name][stated].reset_index(drop=True)
            for t in (old.tables["elements"], new.tables["elements"])
        ]
        why = rows[1]["part_no"].map(of_part).replace("", np.nan).dropna()
        if not rows[0].equals(rows[1]):
            reasons.append("data")
        else:
            reasons.append(str(why.mode().iloc[0]) if len(why) else default)
    return out.assign(why=pd.Series(reasons, index=out.index, dtype="str"))


def _refitted(old: Snapshot, new: Snapshot) -> set[str]:
    """Commodities whose exponent or trend differs between the two fits."""
    fits = [s.tables["curves"].set_index("commodity")[["exponent", "trend", "drift"]] for s in (old, new)]
    both = fits[0].index.intersection(fits[1].index)
    a, b = fits[0].loc[both].to_numpy(np.float64), fits[1].loc[both].to_numpy(np.float64)
    differ = ~np.isclose(a, b, rtol=1e-6, atol=1e-9, equal_nan=True).all(axis=1)
    return set(both[differ]) | set(fits[1].index.difference(fits[0].index))


def _rules(snapshot: Snapshot) -> dict[str, object]:
    """Settings that bear on a result, as-of date apart."""
    held = {k: snapshot.settings.get(k) for k in ("audit", "model", "decide", "read")}
    return held | {"audit": {k: v for k, v in (snapshot.settings.get("audit") or {}).items() if k != "as_of"}}
