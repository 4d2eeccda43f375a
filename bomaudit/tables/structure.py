"""Who belongs to whom: parents from levels, dotted numbers or a parent column; assemblies never counted twice."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bomaudit.findings import Finding, error, note, warning
from bomaudit.tables.pricing import rates

Rows = NDArray[np.intp]
_SAME_PRICE = 0.005
"""Prices of one part that differ by less than this share are the same price, rounded differently."""
BOUGHT = ("buy", "bought", "purchased")
"""Words for a part or assembly that is bought whole."""
_DEEPEST = 60
"""Levels followed before a loop is suspected; real structures have a dozen."""


def parents_by_level(level: NDArray[np.float64]) -> Rows:
    """Nearest row above with a smaller level; -1 at the top. Rows without a level stand at the top."""
    parent = np.full(len(level), -1, dtype=np.intp)
    if len(np.unique(level[~np.isnan(level)])) < 2:  # noqa: PLR2004
        return parent  # one level is no structure
    stack: list[tuple[float, int]] = []
    for i, depth in enumerate(level.tolist()):
        if depth != depth:  # noqa: PLR0124  (not a number)
            continue
        while stack and stack[-1][0] >= depth:
            stack.pop()
        if stack:
            parent[i] = stack[-1][1]
        stack.append((depth, i))
    return parent


def parents_by_dots(numbers: NDArray[np.object_]) -> Rows:
    """Parent of ``1.2.3`` is the row numbered ``1.2``, wherever it stands: people sort such numbers as texts."""
    keys = [str(n).strip().strip(".") for n in numbers]
    first: dict[str, int] = {}
    for i, key in enumerate(keys):
        if key:
            first.setdefault(key, i)
    parent = [first.get(k.rpartition(".")[0], -1) if "." in k else -1 for k in keys]
    return np.array(parent, dtype=np.intp)


def parents_by_number(part_no: NDArray[np.object_], parent_no: NDArray[np.object_]) -> tuple[Rows, Rows]:
    """Row of the part each row names as its parent, the nearest above of several; and rows whose parent is absent."""
    places: dict[str, list[int]] = {}
    for i, number in enumerate(part_no):
        if number:
            places.setdefault(number, []).append(i)
    parent = np.full(len(part_no), -1, dtype=np.intp)
    orphans = []
    for i, wanted in enumerate(parent_no):
        if not wanted:
            continue
        candidates = [p for p in places.get(wanted, ()) if p != i]
        if not candidates:
            orphans.append(i)
            continue
        above = [p for p in candidates if p < i]
        parent[i] = above[-1] if above else candidates[0]
    return parent, np.array(orphans, dtype=np.intp)


def rolled_quantity(parent: Rows, qty: NDArray[np.float64]) -> NDArray[np.float64]:
    """Quantity of each row in one finished product: its own times those of all assemblies above it.

    Parameters
    ----------
    parent : int array
        Row of the parent, -1 at the top.
    qty : float array
        Quantity per parent.
    """
    total = qty.astype(float).copy()
    above = parent.copy()
    for _ in range(_DEEPEST):
        has = above >= 0
        if not has.any():
            break
        total[has] *= qty[above[has]]
        above[has] = parent[above[has]]
    return total


def parents_of(*, part_no: NDArray[np.object_], parent_no: NDArray[np.object_], dotted: NDArray[np.object_],
               level: NDArray[np.float64]) -> tuple[Rows, Rows]:  # fmt: skip
    """Parent row of each line by parent column, dotted numbers or levels; and rows whose parent is absent."""
    if (parent_no != "").any():
        return parents_by_number(part_no, parent_no)
    none = np.empty(0, dtype=np.intp)
    if (dotted != "").any():
        return parents_by_dots(dotted), none
    return parents_by_level(level), none


def cycles(parent: Rows) -> list[list[int]]:
    """Loops in the parent links, each as the rows it runs through."""
    if np.all(parent < np.arange(len(parent))):
        return []  # each parent stands above its lines
    state = np.zeros(len(parent), dtype=np.int8)
    loops = []
    for start in range(len(parent)):
        path = []
        i = start
        while i >= 0 and state[i] == 0:
            state[i] = 1
            path.append(i)
            i = int(parent[i])
        if i >= 0 and state[i] == 1 and i in path:
            loops.append(path[path.index(i) :])
        for p in path:
            state[p] = 2
    return loops


def resolve(frame: pd.DataFrame, above: Rows | None = None) -> tuple[pd.DataFrame, list[Finding]]:
    """Add ``parent_row`` and mark assemblies.

    Parameters
    ----------
    frame : DataFrame
        BOM lines with level, parent_no, row_kind and place columns; ``dotted`` holds level numbers as written where
        they are dotted, and is dropped.

    above : int array or None
        Row of the assembly that the top lines of each line's table belong to, -1 for none.

    Returns
    -------
    frame : DataFrame
        With ``parent_row`` (position in the frame, -1 at the top), ``exploded_row`` (where the same assembly is broken
        down, of a row with its number alone; else -1) and row_kind ``assembly`` for both.
    findings : list
        T080 orphan, T081 cycle (errors), T082 bought assembly, T106 an assembly broken down at another place, T107 one
        that is also bought whole.
    """
    dotted = frame["dotted"].to_numpy()
    frame = frame.drop(columns="dotted")
    parent, orphans = parents_of(
        part_no=frame["part_no"].to_numpy(),
        parent_no=frame["parent_no"].to_numpy(),
        dotted=dotted,
        level=frame["level"].to_numpy(dtype=float),
    )
    findings = [
        error(
            "T080",
            "the parent of a line must be a line",
            **_place(frame, i),
            found=frame["parent_no"].iloc[i],
            assumed="the line is read as a top line",
            advice="add the parent or correct its number",
        )
        for i in orphans
    ]
    if above is not None:
        parent = np.where((parent < 0) & (above >= 0), above, parent)
    for loop in cycles(parent):
        path = " > ".join(str(frame["part_no"].iloc[i]) for i in [*loop, loop[0]])
        findings.append(
            error(
                "T081",
                "a part must not contain itself",
                **_place(frame, loop[0]),
                found=path,
                assumed="the loop is cut at this line",
                advice="correct the parent of one of them",
            )
        )
        parent[loop[0]] = -1
    frame["parent_row"] = parent
    frame, findings = _assemblies(frame, parent, findings)
    frame["exploded_row"], made = _taken_up(frame, parent)
    frame.loc[frame["exploded_row"] >= 0, "row_kind"] = "assembly"
    return frame, [*findings, *made]


def _assemblies(frame: pd.DataFrame, parent: Rows, findings: list[Finding]) -> tuple[pd.DataFrame, list[Finding]]:
    """Rows with lines below them are assemblies; one that alone is priced was bought whole and stays a part."""
    n = len(frame)
    has_children = np.zeros(n, dtype=bool)
    has_children[parent[parent >= 0]] = True
    if not has_children.any():
        return frame, findings
    priced = frame["unit_cost"].notna().to_numpy()
    below = _priced_below(parent, priced)
    bought = has_children & priced & ~below
    rolled = has_children & ~bought
    kind = frame["row_kind"].to_numpy(dtype=object).copy()
    kind[rolled & (kind == "part")] = "assembly"
    frame["row_kind"] = kind
    if bought.any():
        i = int(np.flatnonzero(bought)[0])
        findings.append(
            note(
                "T082",
                "an assembly that is priced while none of its lines is counts as a bought part",
                **_place(frame, i),
                found=f"{int(bought.sum())} such assemblies",
            )
        )
    both = rolled & priced & below
    if both.any():
        i = int(np.flatnonzero(both)[0])
        findings.append(
            warning(
                "T083",
                "the cost of an assembly whose lines are priced is not added to theirs",
                **_place(frame, i),
                found=f"{int(both.sum())} such assemblies",
                assumed="only the lines count",
            )
        )
    return frame, findings


def _taken_up(frame: pd.DataFrame, parent: Rows) -> tuple[Rows, list[Finding]]:
    """Where the assembly of a bare row, which has its number alone, is broken down: the first place of several."""
    exploded = np.full(len(frame), -1, dtype=np.intp)
    bought = frame["make_buy"].str.strip().str.lower().isin(BOUGHT) & (frame["unit_cost"] > 0)
    broken = np.flatnonzero((frame["row_kind"] == "assembly") & (frame["part_no"] != "") & ~bought)
    if not len(broken):
        return exploded, []
    numbers = frame["part_no"].to_numpy(dtype=object)
    first = pd.Series(broken, index=numbers[broken])
    place = first[~first.index.duplicated()].reindex(numbers).fillna(-1).to_numpy(dtype=np.intp)
    single = (place >= 0) & (frame["row_kind"] == "part").to_numpy(dtype=bool)
    priced = frame["unit_cost"].notna().to_numpy(dtype=bool)
    exploded[single & ~priced] = place[single & ~priced]
    findings = _within_themselves(frame, parent, exploded)
    for rows, code, message, assumed in (
        (exploded >= 0, "T106", "an assembly that is broken down at one place is the same at all",
         "what is built into it there is built into these too"),
        (single & priced, "T107", "an assembly that is broken down at one place has a price of its own at another",
         "the price counts where it stands, the lines where it is broken down"),
    ):  # fmt: skip
        if rows.any():
            i = int(np.flatnonzero(rows)[0])
            findings.append(
                note(code, message, **_place(frame, i), assumed=assumed,
                     found=f"{int(rows.sum())} such row{'' if rows.sum() == 1 else 's'}, the first {numbers[i]}")
            )  # fmt: skip
    return exploded, findings


def _within_themselves(frame: pd.DataFrame, parent: Rows, exploded: Rows) -> list[Finding]:
    """Take back the structure of bare rows that stand, at whatever depth, beneath their own assembly (``T081``)."""
    from scipy.sparse import coo_array  # noqa: PLC0415  (only where an assembly is broken down once)
    from scipy.sparse.csgraph import connected_components  # noqa: PLC0415

    below, bare = np.flatnonzero(parent >= 0), np.flatnonzero(exploded >= 0)
    above, row = np.concatenate([parent[below], bare]), np.concatenate([below, exploded[bare]])
    links = coo_array((np.ones(len(row)), (above, row)), shape=(len(frame), len(frame)))
    _, loop = connected_components(links, connection="strong")
    within = bare[loop[bare] == loop[exploded[bare]]]
    exploded[within] = -1
    return [
        error("T081", "a part must not contain itself", **_place(frame, i), found=frame["part_no"].iloc[i],
              assumed="the loop is cut at this line", advice="correct the parent of one of them")
        for i in within.tolist()
    ]  # fmt: skip


def _priced_below(parent: Rows, priced: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Whether any line below a row, at whatever depth, has a price."""
    below = np.zeros(len(parent), dtype=bool)
    for start in np.flatnonzero(priced):
        i = int(parent[start])
        while i >= 0 and not below[i]:
            below[i] = True
            i = int(parent[i])
    return below


def _place(frame: pd.DataFrame, i: int) -> dict[str, object]:
    row = frame.iloc[i]
    return {"file": row["source_file"], "sheet": row["source_sheet"], "row": int(row["source_row"])}


def in_one_unit(frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Finding]]:
    """Lines of one part that are counted in several units, in that of the first of them.

    Parameters
    ----------
    frame : DataFrame
        Table ``bom`` of the glossary, with places.

    Returns
    -------
    frame : DataFrame
        Quantities, stock and prices brought to one unit a part where the units convert (``T100``); as they stand where
        they do not (``T101``): quotes and the year's need of a part are in one unit.
    findings : list of Finding
    """
    own, named = frame["uom"].to_numpy(dtype=object), (frame["part_no"] != "").to_numpy()
    if len({*pd.unique(frame["uom"])} - {""}) <= 1:
        return frame, []
    first = frame[named & (own != "")].drop_duplicates("part_no").set_index("part_no")["uom"]
    wanted = np.where(named, first.reindex(frame["part_no"]).fillna("").to_numpy(dtype=object), "")
    many = rates(own, wanted)
    moved, clash = np.isfinite(many) & (many != 1), np.isnan(many)
    findings = []
    for code, say, message, which, assumed, advice in (
        ("T100", note, "one part should be counted in one unit", moved, "brought to the unit of its first line", ""),
        ("T101", warning, "units of one part must convert", clash,
         "quotes are taken to be for the unit of its first line, its quantities are added as they stand",
         "state one unit, or give one of them a part number of its own"),
    ):  # fmt: skip
        if which.any():
            i = int(np.flatnonzero(which)[0])
            parts = frame["part_no"][which].nunique()
            found = (
                f"{parts} part{'s' if parts > 1 else ''}, the first {frame['part_no'].iloc[i]}: {wanted[i]}, {own[i]}"
            )
            findings.append(say(code, message, **_place(frame, i), column="uom", found=found, assumed=assumed,
                                advice=advice))  # fmt: skip
    if not moved.any():
        return frame, findings
    scale = np.where(moved, many, 1.0)
    amounts = {c: frame[c] * scale for c in ("qty", "on_hand_qty", "price_per")}
    prices = {c: frame[c] / scale for c in ("unit_cost", "unit_cost_low", "unit_cost_high") if c in frame}
    return frame.assign(**amounts, **prices, uom=frame["uom"].mask(moved, pd.Series(wanted, frame.index))), findings


def repeats(frame: pd.DataFrame) -> list[Finding]:
    """Part numbers on several lines: warned of where their prices differ (T084), else told (T085; same parent: T087).

    Notes
    -----
    Every row stays a line: merging would lose it and change no sum. A part's yearly quantity is that of all its lines.
    """
    is_line = frame["row_kind"].isin(("part", "alternative")) & (frame["part_no"] != "")
    lines = frame[is_line & frame["unit_cost"].notna()]
    lines = lines[lines["part_no"].duplicated(keep=False)]
    if not len(lines):
        return []
    by_part = lines.groupby(["part_no", "currency"], sort=True)["unit_cost"]
    spread = by_part.agg(["count", "min", "max"])
    several = spread[spread["count"] > 1]
    differ = several[several["max"] - several["min"] > _SAME_PRICE * several["max"]]
    same = several.drop(differ.index)
    beside = lines.duplicated(["part_no", "currency", "parent_row"])
    twice = same[same.index.isin(pd.MultiIndex.from_frame(lines.loc[beside, ["part_no", "currency"]]))]
    findings = []
    for code, say, message, which, assumed in (
        ("T084", warning, "one part should have one price", differ, "each line keeps its own"),
        ("T085", note, "parts on several lines have the same price on each", same.drop(twice.index), ""),
        ("T087", note, "lines alike in part, price and parent are one purchase", twice, "their quantities added"),
    ):
        if len(which):
            number = str(which.index[0][0])
            first = int(np.flatnonzero((frame["part_no"] == number).to_numpy())[0])
            findings.append(say(code, message, **_place(frame, first), found=f"{len(which)} parts, the first {number}",
                                assumed=assumed))  # fmt: skip
    return findings
