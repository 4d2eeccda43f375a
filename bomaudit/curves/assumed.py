"""What the curves assume rather than measure: findings for the reader, and a table of every figure and its source."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from bomaudit.curves.breaks import SHORT, apart
from bomaudit.curves.experience import ExperienceFit
from bomaudit.curves.histories import guessed_stocks, listed
from bomaudit.curves.inputs import GENERAL, MATERIAL_NOISE, REAL_RATE_NOISE, InputPrices
from bomaudit.curves.pooling import DAYS_PER_YEAR
from bomaudit.curves.priors import CHANGE_SD, Catalogue
from bomaudit.curves.spans import Rates
from bomaudit.curves.timelines import codes_of, years_of
from bomaudit.curves.volumes import NO_PEAK, VolumeIndices
from bomaudit.findings import Finding, note, warning


@dataclass(frozen=True)
class Bought:
    """What a BOM buys.

    Attributes
    ----------
    commodities, currencies : tuple of str
        Named commodities of auditable lines, and the currencies they are priced in, sorted.
    """

    commodities: tuple[str, ...]
    currencies: tuple[str, ...]

    @classmethod
    def of(cls, lines: pd.DataFrame) -> Bought:
        """Look through prepared lines."""
        audited = lines["auditable"].to_numpy(dtype=bool)
        columns = (lines[c][audited].unique() for c in ("commodity", "price_currency"))
        return cls(*(tuple(sorted(str(n) for n in values if n != "")) for values in columns))


def find_about_markets(bought: Bought, catalogue: Catalogue, indices: VolumeIndices, as_of: date) -> list[Finding]:
    """Commodities without a volume index or a catalogue row, indices that end early, markets without a peak.

    Parameters
    ----------
    bought : Bought
    catalogue : Catalogue
    indices : VolumeIndices
    as_of : date

    Returns
    -------
    list of Finding
    """
    names = bought.commodities
    class_of, is_listed = (dict(zip(catalogue.names, catalogue.frame[c], strict=True)) for c in ("class", "listed"))
    findings = []
    without = [n for n in names if n not in indices.lines.names and class_of[n] != "raw_material"]
    if without:
        findings.append(
            warning("E001", "a commodity needs a volume index for its experience to be followed",
                    found=f"none for {len(without)}: {listed(without)}",
                    assumed="a constant yearly trend, which widens the interval", advice="give volumes")
        )  # fmt: skip
    unlisted = [n for n in names if not is_listed[n]]
    if unlisted:
        findings.append(
            note("E002", "commodities that the catalogue does not list", found=listed(unlisted),
                 assumed="the pool of all published curves is the prior, no materials are taken off",
                 advice="use names of learning_curves/commodities.csv, or add them there")
        )  # fmt: skip
    maturity = indices.maturity[indices.maturity.index.isin(names)]
    until = (np.datetime64(as_of, "D") - np.datetime64("2000-01-01", "D")).astype(float) / DAYS_PER_YEAR
    short = maturity.index[until - maturity["last_period"] > _A_DAY]
    if len(short):
        findings.append(
            note("E003", f"volume indices that end before {as_of}", found=listed([str(n) for n in short]),
                 assumed="forecast by a diffusion curve; the interval widens with the gap", advice="give newer volumes")
        )  # fmt: skip
    rising = [str(n) for n in maturity.index[maturity["notes"] == NO_PEAK]]
    if rising:
        findings.append(
            note("E004", "markets whose peak is not in sight yet", found=listed(rising),
                 assumed="their ultimate size rests on a prior: four times what is reached, within a factor of five")
        )  # fmt: skip
    return findings


def find_about_observations(observations: pd.DataFrame, commodity: str, indices: VolumeIndices) -> list[Finding]:
    """What a curve fitted to quotes of one market rests on beside them: a guessed stock, volumes outside the index.

    Parameters
    ----------
    observations : DataFrame
        From :func:`bomaudit.curves.explore.observe_quotes`.
    commodity : str
        With an index.
    indices : VolumeIndices

    Returns
    -------
    list of Finding
    """
    time, code = years_of(observations["date"].to_numpy()), indices.lines.codes([commodity])[0]
    first, last = indices.lines.first[code], indices.maturity["last_period"].iloc[code]
    early, late = int((time < first - _A_DAY).sum()), int((time > last + _A_DAY).sum())
    found = guessed_stocks([commodity] if indices.maturity["stock_guessed"].iloc[code] else [])
    if early or late:
        found.append(
            warning("X008", f"observations must lie within the volume index of {commodity}",
                    found=f"{early} before and {late} after it, of {len(time)}",
                    assumed="volumes carried back at the growth of the first period, forecast after the last",
                    advice="give volumes that reach from the first quote to the last")
        )  # fmt: skip
    return found


_A_DAY = 1 / DAYS_PER_YEAR


def find_about_inputs(bought: Bought, catalogue: Catalogue, inputs: InputPrices, fx: Rates) -> list[Finding]:
    """Materials without a price series, currencies without inflation.

    Parameters
    ----------
    bought : Bought
    catalogue : Catalogue
    inputs : InputPrices
    fx : Rates

    Returns
    -------
    list of Finding
    """
    findings = []
    rows = codes_of(np.array(bought.commodities, dtype=object), catalogue.names)
    wanted = {inputs.wanted[s] for s in inputs.slots[rows].ravel() if s >= 0}
    lacking = sorted(wanted - set(inputs.materials.names))
    if lacking:
        findings.append(
            note("E005", "materials without a price series", found=listed(lacking),
                 assumed=f"general inflation stands in, wandering by {100 * MATERIAL_NOISE:g} % a year added",
                 advice="give these series in input_prices")
        )  # fmt: skip
    bare = [c for c in bought.currencies if c not in inputs.general.names]
    if bare:
        home = fx.currency in inputs.general.names
        findings.append(
            warning("E006", f"{GENERAL} is not known in {', '.join(bare)}",
                    assumed=f"that of {fx.currency} and the change of the exchange rate, which widens the interval: "
                    f"wandering by {100 * REAL_RATE_NOISE:g} % a year added"
                    if home else "no inflation is used",
                    advice=f"give {GENERAL} of these currencies in input_prices")
        )  # fmt: skip
    return findings


def find_about_fit(bought: Bought, experience: ExperienceFit) -> list[Finding]:
    """Warnings of the fit: short spans told together, the others one for each commodity bought that has some.

    Parameters
    ----------
    bought : Bought
    experience : ExperienceFit

    Returns
    -------
    list of Finding
    """
    told = experience.frame["warnings"].reindex(list(bought.commodities)).fillna("")
    spans, others = apart(dict(told))
    advice = "look at its quotes with 'bomaudit curves fit'"
    findings = [warning("E007", f"{name}: {text}", advice=advice) for name, text in others.items()]
    if spans:
        markets = "1 market" if len(spans) == 1 else f"{len(spans)} markets"
        findings.append(
            warning("E008", f"own quotes should span {SHORT:.0f} doublings of cumulative volume or more",
                    found=f"fewer in {markets}: " + ", ".join(f"{name} {span:.1f}" for name, span in spans.items()),
                    assumed="their learning rests on the prior as much as its weight in the sheet Markets says",
                    advice="older quotes of the same parts would make it surer")
        )  # fmt: skip
    return findings


def list_what_curves_assume(
    bought: Bought,
    catalogue: Catalogue,
    experience: ExperienceFit,
    indices: VolumeIndices,
    breaks: pd.DataFrame,
) -> pd.DataFrame:
    """Every figure of the commodities bought that the library gave or the quotes moved.

    Parameters
    ----------
    bought : Bought
    catalogue : Catalogue
    experience : ExperienceFit
    indices : VolumeIndices
    breaks : DataFrame
        Price-break slopes.

    Returns
    -------
    DataFrame, columns name, value, stated, source
    """
    rows = [("change of published exponents since", f"{CHANGE_SD:g} (sd)", "library", "halves of published series")]
    table = catalogue.frame.join(experience.frame[["exponent", "data_weight"]]).join(breaks)
    table = table[table.index.isin(bought.commodities)]
    catalogue_file, columns = "learning_curves/commodities.csv", [
        "exponent", "data_weight", "kind", "source", "materials_share", "basket", "slope", "n_breaks",
    ]  # fmt: skip
    for name, *fields in zip(table.index, *(table[c] for c in columns), strict=True):
        exponent, weight, kind, source, share, basket, slope, count = fields
        rate, own = 100 * (1 - 2 ** -float(exponent)), f"{100 * float(weight):.0f} % from own quotes"
        rows += [
            (f"{name}: learning rate", f"{rate:.1f} %", own, f"{kind}: {source}"),
            (f"{name}: materials share", f"{share:g} ({basket or 'no basket'})", "library", catalogue_file),
            (f"{name}: price-break slope", f"{slope:.3f}", f"{count} own sets of price breaks", catalogue_file),
        ]
    told = indices.maturity[indices.maturity.index.isin(table.index)]
    for name, stage, model, periods, notes in zip(
        told.index, told["stage"], told["model"], told["periods"], told["notes"], strict=True
    ):
        text = f"{stage or 'stage not known'}, {model or 'no curve'}" + (f"; {notes}" if notes else "")
        rows.append((f"{name}: maturity", text, f"{periods} periods", "volumes"))
    return pd.DataFrame(rows, columns=["name", "value", "stated", "source"])
