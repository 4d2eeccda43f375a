"""Fit every curve an audit needs from quotes, volumes, input prices and the library."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from bomaudit.curves.assumed import (
    Bought,
    find_about_fit,
    find_about_inputs,
    find_about_markets,
    list_what_curves_assume,
)
from bomaudit.curves.experience import fit_experience
from bomaudit.curves.fitted import Curves
from bomaudit.curves.inputs import read_input_prices
from bomaudit.curves.library import Library
from bomaudit.curves.observations import OF_PART, QUOTED, booked_as_quotes, observe, quotes_with_market
from bomaudit.curves.offers import collect_offers
from bomaudit.curves.own_volume import fit_price_breaks
from bomaudit.curves.priors import build_catalogue, drift_spread
from bomaudit.curves.spans import Rates
from bomaudit.curves.volumes import read_volumes
from bomaudit.settings import Settings


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
    seen = {str(n) for table in (lines, quotes, volumes) for n in table["commodity"].unique()}
    catalogue, bought = build_catalogue(library, seen), Bought.of(lines)
    indices, of_volumes = read_volumes(volumes, library.volumes, as_of=as_of)
    inputs, of_inputs = read_input_prices(
        input_prices, library.input_prices, baskets=catalogue.frame["basket"], currency=fx.currency, as_of=as_of
    )
    breaks = fit_price_breaks(quotes, catalogue.frame)
    observed = pd.concat([quotes[[*QUOTED, *OF_PART]], booked_as_quotes(lines)], ignore_index=True)
    observations = observe(
        observed, catalogue=catalogue, volumes=indices, inputs=inputs, slopes=breaks["slope"], fx=fx,
        model=settings.model, today=today,
    )  # fmt: skip
    experience = fit_experience(observations, catalogue.frame)
    mean, sd = drift_spread(catalogue)
    findings = [
        *of_volumes, *of_inputs, *find_about_markets(bought, catalogue, indices, as_of),
        *find_about_inputs(bought, catalogue, inputs, fx), *find_about_fit(bought, experience),
    ]  # fmt: skip
    offers = collect_offers(quotes, fx=fx, model=settings.model)
    assumptions = list_what_curves_assume(bought, catalogue, experience, indices, breaks)
    return Curves(
        library=library, catalogue=catalogue, experience=experience, volumes=indices, inputs=inputs, own_volume=breaks,
        fx=fx, quotes=quotes, offers=offers, observations=observations,
        classification=(float(mean), float(sd)), model=settings.model,
        as_of=as_of, findings=tuple(findings), assumptions=assumptions,
    )  # fmt: skip
