"""Sentences on what a rise of an input price would do, and on how a saving may come out."""

from __future__ import annotations

from collections.abc import Sequence

from bomaudit.report.numbers import Numbers

RISES = (0.1, 0.2)
"""Rises of an input price that the report works out."""
INPUTS_SAID = (
    "Of each line's price today a share follows each input: the materials in it, at what they cost today, and the "
    "currency the supplier prices in. If an input rises by x and suppliers pass it on in full, a price rises by its "
    "share times x, and a decision's saving by the difference between its two options. Falls count the same with the "
    "other sign; an exchange rate rises where the foreign currency gets dearer. All else here stands at today's input "
    "prices."
)


def input_name(name: str) -> str:
    """Name an input as a table does: a material by its name, a currency by its code."""
    kind, _, of = name.partition(":")
    return f"{of} exchange rate" if kind == "fx" else of.replace("_", " ")


def if_inputs_move(
    numbers: Numbers, rows: Sequence[tuple[str, float, float, float]], *, currency: str, like: float
) -> list[str]:
    """Say what a rise of an input does to a saving: input, saving today, its change for a doubling, where it tips."""
    said = []
    for name, today, change, tips in rows:
        then = numbers.saving(today + RISES[-1] * change, like=like)
        text = (
            f"{input_name(name)} {numbers.share(RISES[-1], signed=True)}: the saving goes from "
            f"{numbers.saving(today, like=like)} to {then} {currency} a unit"
        )
        tipped = f"; its sign turns at a change of {numbers.share(tips, signed=True)}" if abs(tips) <= 1 else ""
        said.append(text + tipped)
    return said


def follows(numbers: Numbers, rows: Sequence[tuple[str, float]], *, estimate: float, currency: str) -> list[str]:
    """Say which inputs a price follows, largest share first, and what a rise of the first does.

    A currency is said apart: it moves the price whatever that is made of, so its share and theirs have no sum.
    """
    if not rows:
        return []
    materials = ", ".join(f"{input_name(name)} {numbers.share(share)}" for name, share in rows if not _is_fx(name))
    said = [
        f"{numbers.share(share)} of the price follows the {input_name(name)}, whatever it is made of"
        for name, share in rows
        if _is_fx(name)
    ]
    said += [f"shares of the price that follow an input: {materials}"] if materials else []
    first, share = rows[0]
    rise = numbers.share(RISES[-1], signed=True)
    money = numbers.price(RISES[-1] * share * estimate, signed=True)
    return [*said, f"{input_name(first)} {rise}, passed on in full: {money} {currency}"]


def _is_fx(name: str) -> bool:
    return name.startswith("fx:")


def outcomes(numbers: Numbers, *, against: int, of: int, low: float, high: float, currency: str) -> str:
    """Say how the draws of a saving fall, as so many of so many equally likely outcomes."""
    like = max(abs(low), abs(high))
    span = f"{numbers.saving(low, like=like)} and {numbers.saving(high, like=like)} {currency}"
    return f"Of {of} equally likely outcomes the choice costs more in {against}; half lie between {span} a unit."
