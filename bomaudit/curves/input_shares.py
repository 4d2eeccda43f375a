"""What inputs carry: the share of each material, and of each foreign currency, in today's price of a line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from scipy.sparse import csr_array

from bomaudit.curves.carry import carry
from bomaudit.curves.fitted import Curves
from bomaudit.curves.level import as_arrays, usable_rows
from bomaudit.curves.pooling import Floats


@dataclass(frozen=True)
class InputShares:
    r"""How far each line's price follows the price of each input from today on.

    Attributes
    ----------
    inputs : tuple of str
        "input:copper" … for each material of a basket, "fx:USD" … for each currency that suppliers price in and that is
        not the audit currency.
    share : csr_array, shape (lines, inputs)
        Share of today's price that follows the input. [-]
    noise : array, shape (inputs,)
        How far the input's price wanders, nominal. [ln/sqrt(year)]

    Notes
    -----
    A material's share is the elasticity :math:`\partial \ln P / \partial \ln E_k = s_m w_k E_k / (P / P_0)`: materials
    share :math:`s_m` and basket weight :math:`w_k` at the basis date, price ratio :math:`E_k` of the material since.
    The price is linear in :math:`E_k`, so a rise of the input by :math:`x` raises the price by the share times
    :math:`x`, to first order and to any other, if the supplier passes it on in full.
    """

    inputs: tuple[str, ...]
    share: csr_array
    noise: Floats


def input_shares(lines: pd.DataFrame, curves: Curves, *, as_of: date, also_in: Iterable[str] = ()) -> InputShares:
    """Find the share of every input in today's price of every line.

    Parameters
    ----------
    lines : DataFrame
        Prepared lines.
    curves : Curves
    as_of : date
    also_in : iterable of str
        Currencies of other amounts than the lines' prices, to be listed as well.

    Returns
    -------
    InputShares
        Lines without an estimate, and without a known basket, have no share of a material.

    Notes
    -----
    Where the price stands on its materials alone, their shares add up to one.
    """
    rows = np.flatnonzero(usable_rows(lines))
    known = as_arrays(lines.iloc[rows], curves, np.asarray(np.datetime64(as_of, "D")))
    spans, wanted = known.spans, curves.inputs.wanted
    abroad = [c for c in dict.fromkeys([*spans.currencies, *sorted(also_in)]) if c not in ("", curves.fx.currency)]
    names = (*(f"input:{s}" for s in wanted), *(f"fx:{c}" for c in abroad))
    share = carry(curves, spans).bought
    share = share / np.maximum(share.sum(axis=1), 1.0)[:, None]
    slots = curves.inputs.slots[spans.commodity]
    at, slot = np.nonzero((slots >= 0) & (share > 0))
    foreign = np.array([abroad.index(c) if c in abroad else -1 for c in spans.currencies], dtype=np.int64)
    of_line = foreign[spans.currency] if len(foreign) else np.zeros(0, dtype=np.int64)
    paid_abroad = np.flatnonzero(of_line >= 0)
    entries = np.concatenate([share[at, slot], np.ones(len(paid_abroad))])
    line = np.concatenate([rows[at], rows[paid_abroad]])
    column = np.concatenate([slots[at, slot], len(wanted) + of_line[paid_abroad]])
    noise = np.concatenate([curves.inputs.noise, curves.fx.log_sd_per_year(np.array(abroad, dtype=object))])
    return InputShares(
        names, csr_array((entries, (line, column)), shape=(len(lines), len(names))), np.nan_to_num(noise)
    )


def no_shares(lines: int) -> InputShares:
    """Shares of lines of which nothing is known."""
    return InputShares((), csr_array((lines, 0)), np.zeros(0))
