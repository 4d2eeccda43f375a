"""Fit every curve an audit needs from quotes, volumes, input prices and the library."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from bomaudit.curves.experience import ExperienceFit, fit_experience
from bomaudit.curves.fitted import Curves
from bomaudit.curves.inputs import GENERAL, InputPrices, read_input_prices
from bomaudit.curves.library import Library
from bomaudit.curves.observations import QUOTED, booked_as_quotes, observe, quotes_with_market
from bomaudit.curves.own_volume import fit_price_breaks
from bomaudit.curves.priors import CHANGE_SD, Catalogue, build_catalogue, drift_spread
from bomaudit.curves.spans import Rates
from bomaudit.curves.volumes import VolumeIndices, read_volumes
from bomaudit.findings import Finding, note, warning
from bomaudit.settings import Settings

_MANY = 8  # names that a finding lists


def fit_curves(
    *,
    quotes: pd.DataFrame,
    volumes: pd.DataFrame,
    input_prices: pd.DataFrame,
    lines: pd.DataFrame,
    library: Library,
    fx: Rates,
    settings: Settings,
    as_of: date,
) -> Curves:
    """Fit every curve, knowing the world up to ``as_of`` and no further.

    Parameters
    ----------
    quotes : DataFrame
        Usable quotes, from :func:`bomaudit.prepare.quotes.prepare_quotes`; later ones are left out.
    volumes, input_prices : DataFrame
        Tables of the glossary; the library's stand in for what they lack.
    lines : DataFrame
        Prepared lines.
    library : Library
    fx : Rates
    settings : Settings
    as_of : date

    Returns
    -------
    Curves
    """
    today = np.datetime64(as_of, "D")
    quotes = quotes_with_market(quotes[quotes["quote_date"] <= pd.Timestamp(as_of)], lines)
    seen = {*lines["commodity"], *quotes["commodity"], *volumes["commodity"]}
    catalogue = build_catalogue(library, {str(s) for s in seen})
    indices, of_volumes = read_volumes(volumes, library.volumes, as_of=as_of)
    inputs, of_inputs = read_input_prices(
        input_prices, library.input_prices, baskets=catalogue.frame["basket"], currency=fx.currency, as_of=as_of
    )
    breaks = fit_price_breaks(quotes, catalogue.frame)
    observed = pd.concat([quotes[[*QUOTED, "custom"]], booked_as_quotes(lines)], ignore_index=True)
    observations = observe(
        observed, catalogue=catalogue, volumes=indices, inputs=inputs, slopes=breaks["slope"], fx=fx,
        model=settings.model, today=today,
    )  # fmt: skip
    experience = fit_experience(observations, catalogue.frame)
    mean, sd = drift_spread(catalogue)
    findings = [
        *of_volumes, *of_inputs, *_of_markets(lines, catalogue, indices, as_of),
        *_of_inputs(lines, catalogue, inputs, fx), *_of_fit(lines, experience),
    ]  # fmt: skip
    return Curves(
        library=library, catalogue=catalogue, experience=experience, volumes=indices, inputs=inputs, own_volume=breaks,
        fx=fx, quotes=quotes, classification=(float(mean), float(sd)), model=settings.model, as_of=as_of,
        findings=tuple(findings),
        assumptions=_assumptions(lines, catalogue, experience, indices, inputs, breaks),
    )  # fmt: skip


def _bought(lines: pd.DataFrame) -> pd.Series:
    """Lines per commodity of the BOM, named ones only."""
    named = lines[lines["auditable"] & (lines["commodity"] != "")]
    return named["commodity"].value_counts().sort_index()


def _listed(names: list[str]) -> str:
    return ", ".join(names[:_MANY]) + (f" and {len(names) - _MANY} more" if len(names) > _MANY else "")


def _of_markets(lines: pd.DataFrame, catalogue: Catalogue, indices: VolumeIndices, as_of: date) -> list[Finding]:
    bought = [str(n) for n in _bought(lines).index]
    findings = []
    without = [n for n in bought if n not in indices.lines.names and catalogue.frame.at[n, "class"] != "raw_material"]
    if without:
        findings.append(
            warning("E001", "a commodity needs a volume index for its experience to be followed",
                    found=f"none for {len(without)}: {_listed(without)}",
                    assumed="a constant yearly trend, which widens the interval", advice="give volumes")
        )  # fmt: skip
    unlisted = [n for n in bought if not catalogue.frame.at[n, "listed"]]
    if unlisted:
        findings.append(
            note("E002", "commodities that the catalogue does not list", found=_listed(unlisted),
                 assumed="the pool of all published curves is the prior, no materials are taken off",
                 advice="use names of learning_curves/commodities.csv, or add them there")
        )  # fmt: skip
    maturity = indices.maturity.reindex([n for n in bought if n in indices.lines.names])
    ends = pd.to_datetime("2000-01-01") + pd.to_timedelta(
        (maturity["last_period"].astype(float) * 365.25).round(), unit="D"
    )
    short = maturity.index[(pd.Timestamp(as_of) - ends).dt.days > 1]
    if len(short):
        findings.append(
            note("E003", f"volume indices that end before {as_of}", found=_listed([str(n) for n in short]),
                 assumed="forecast by a diffusion curve; the interval widens with the gap", advice="give newer volumes")
        )  # fmt: skip
    rising = [str(n) for n in maturity.index[maturity["notes"].str.startswith("no peak")]]
    if rising:
        findings.append(
            note("E004", "markets whose peak is not in sight yet", found=_listed(rising),
                 assumed="their ultimate size rests on a prior: four times what is reached, within a factor of five")
        )  # fmt: skip
    return findings


def _of_inputs(lines: pd.DataFrame, catalogue: Catalogue, inputs: InputPrices, fx: Rates) -> list[Finding]:
    used = lines[lines["auditable"]]
    findings = []
    rows = catalogue.frame.index.get_indexer([str(n) for n in _bought(lines).index])
    wanted = {inputs.wanted[s] for s in inputs.slots[rows].ravel() if s >= 0} if len(rows) else set()
    lacking = sorted(wanted - set(inputs.materials.names))
    if lacking:
        findings.append(
            note("E005", "materials without a price series", found=_listed(lacking),
                 assumed="general inflation stands in, wandering by 20 % a year added",
                 advice="give these series in input_prices")
        )  # fmt: skip
    paid = sorted({str(c) for c in used["price_currency"]})
    bare = [c for c in paid if c not in inputs.general.names]
    if bare:
        home = fx.currency in inputs.general.names
        findings.append(
            warning("E006", f"{GENERAL} is not known in {', '.join(bare)}",
                    assumed=f"that of {fx.currency} is used" if home else "no inflation is used",
                    advice=f"give {GENERAL} of these currencies in input_prices")
        )  # fmt: skip
    return findings


def _of_fit(lines: pd.DataFrame, experience: ExperienceFit) -> list[Finding]:
    told = experience.frame["warnings"].reindex(_bought(lines).index).fillna("")
    return [
        warning("E007", f"{name}: {text}", advice="look at its quotes, see 'bomaudit curves fit'")
        for name, text in told.items() if text
    ]  # fmt: skip


def _assumptions(
    lines: pd.DataFrame,
    catalogue: Catalogue,
    experience: ExperienceFit,
    indices: VolumeIndices,
    inputs: InputPrices,
    breaks: pd.DataFrame,
) -> pd.DataFrame:
    """Every figure that the library, not the data, gave; rows name, value, stated, source."""
    rows = [("published exponents change by", f"{CHANGE_SD:g} (sd)", "library", "halves of 70 published series")]
    for name in _bought(lines).index:
        c, e = catalogue.frame.loc[name], experience.frame.loc[name]
        lr = 1 - 2 ** -float(e["exponent"])
        own = f"{100 * float(e['data_weight']):.0f} % from own quotes"
        rows.append((f"{name}: learning rate", f"{100 * lr:.1f} %", own, f"{c['kind']}: {c['source']}"))
        rows.append(
            (
                f"{name}: materials share",
                f"{c['materials_share']:g} ({c['basket'] or 'no basket'})",
                "library",
                "learning_curves/commodities.csv",
            )
        )
        count = int(breaks.at[name, "n_breaks"])
        rows.append(
            (
                f"{name}: price-break slope",
                f"{breaks.at[name, 'slope']:.3f}",
                f"{count} sets of breaks",
                "own breaks and learning_curves/commodities.csv",
            )
        )
        if name in indices.lines.names:
            m = indices.maturity.loc[name]
            text = f"{m['stage'] or 'not known'}, {m['model'] or 'no curve'}" + (
                f"; {m['notes']}" if m["notes"] else ""
            )
            rows.append((f"{name}: maturity", text, f"{int(m['periods'])} periods", "volumes"))
    for currency in inputs.general.names:
        rows.append(
            (
                f"general inflation {currency}",
                f"{100 * np.expm1(float(inputs.general.after[inputs.general.names.index(currency)])):.1f} %/yr after its last period",
                "data",
                "input_prices",
            )
        )
    return pd.DataFrame(rows, columns=["name", "value", "stated", "source"])
