"""What new standards do to the value of stock: revaluation, a warning on net realisable value, journal lines.

Not accounting advice: group policy, the accounting standards and the auditor decide.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import numpy as np
import pandas as pd

from bomaudit.finance.parts import looked_up
from bomaudit.prepare.exact import round_money, to_decimal
from bomaudit.settings import FinanceSection


def revaluation(proposed: pd.DataFrame, parts: pd.DataFrame, *, finance: FinanceSection) -> pd.DataFrame:
    """Change of the value of stock on hand, and where its cost may be above what it is worth.

    Parameters
    ----------
    proposed : DataFrame
        ``part_no``, ``kind``, ``standard_cost``, ``new_standard`` (Decimal), ``state``; parts and assemblies.
    parts : DataFrame
        From :func:`bomaudit.finance.parts.part_costs`.
    finance : FinanceSection
        money_places.

    Returns
    -------
    DataFrame
        ``part_no``, ``kind``, ``on_hand_qty``, ``standard_cost``, ``new_standard``, ``old_value``, ``revaluation``
        (Decimal, rounded to money), ``state``, ``value_at_risk`` and ``nrv_warning``. Rows without stock are left out.

    Notes
    -----
    revaluation = quantity on hand × (new - old standard), positive: stock gains.

    value_at_risk = quantity on hand × (standard - estimate) where there is stock, more than 0, and even the high end of
    the estimate is below the standard that it is carried at. A price that has fallen is only a sign: materials for
    products that sell at or above cost are not written down.

    References
    ----------
    .. [1] IAS 2 Inventories, paragraphs 9 and 32 (lower of cost and net realisable value; replacement cost as the best
       available measure for materials), from memory of the standard.
    """
    by_part = parts.set_index("part_no")
    rows = proposed.assign(on_hand_qty=looked_up(proposed["part_no"], by_part["on_hand_qty"]))
    rows = rows[rows["on_hand_qty"].fillna(0.0) != 0].reset_index(drop=True)
    on_hand = [to_decimal(q) for q in rows["on_hand_qty"]]
    high, middle = (looked_up(rows["part_no"], by_part[c]).to_numpy(np.float64) for c in ("estimate_high", "estimate"))
    old = rows["standard_cost"].astype(float).to_numpy()
    above = (high < old) & (rows["on_hand_qty"] > 0).to_numpy()  # what is booked below 0 is no stock to write down
    at_risk = np.where(above, rows["on_hand_qty"].to_numpy(np.float64) * (old - middle), 0.0)
    change = [
        round_money(q * (n - o), finance.money_places)
        for q, o, n in zip(on_hand, rows["standard_cost"], rows["new_standard"], strict=True)
    ]
    old_value = [round_money(q * o, finance.money_places) for q, o in zip(on_hand, rows["standard_cost"], strict=True)]
    return rows[["part_no", "kind", "on_hand_qty", "standard_cost", "new_standard"]].assign(
        old_value=pd.Series(old_value, dtype=object),
        revaluation=pd.Series(change, dtype=object),
        state=rows["state"],
        value_at_risk=at_risk,
        nrv_warning=above,
    )


def journal(revalued: pd.DataFrame, *, currency: str, as_of: date, finance: FinanceSection) -> pd.DataFrame:
    """Journal lines of a revaluation: stock against the revaluation account, part by part.

    Parameters
    ----------
    revalued : DataFrame
        From :func:`revaluation`.
    currency : str
        Audit currency.
    as_of : date
        Date of the lines, where the settings state no ``effective_on``.
    finance : FinanceSection

    Returns
    -------
    DataFrame
        ``date``, ``account``, ``debit``, ``credit`` (Decimal), ``currency``, ``part_no``, ``text``, ``state``
        (approved, proposed …). Debits and credits are equal for each part. Parts without a change are left out.
    """
    day = (finance.effective_on or as_of).isoformat()
    columns = ["date", "account", "debit", "credit", "currency", "part_no", "text", "state"]
    lines: list[tuple[object, ...]] = []
    zero = round_money(Decimal(0), finance.money_places)
    for part_no, change, quantity, old, new, state in zip(
        *(revalued[c] for c in ("part_no", "revaluation", "on_hand_qty", "standard_cost", "new_standard", "state")),
        strict=True,
    ):
        if change == 0:
            continue
        text = f"revaluation {to_decimal(quantity).normalize():f} on hand, {old} to {new}"
        gain, loss = (change, zero) if change > 0 else (zero, -change)
        lines += [
            (day, finance.inventory_account, gain, loss, currency, part_no, text, state),
            (day, finance.revaluation_account, loss, gain, currency, part_no, text, state),
        ]
    return pd.DataFrame(lines, columns=columns, dtype=object)
