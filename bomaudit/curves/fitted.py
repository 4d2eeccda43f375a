"""Everything fitted, in one frozen bundle: what an estimate needs, at any date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.curves.experience import ExperienceFit
from bomaudit.curves.inputs import InputPrices
from bomaudit.curves.library import Library
from bomaudit.curves.offers import Offers
from bomaudit.curves.pooling import Floats
from bomaudit.curves.priors import Catalogue
from bomaudit.curves.spans import Rates
from bomaudit.curves.timelines import Codes
from bomaudit.curves.volumes import VolumeIndices
from bomaudit.findings import Finding
from bomaudit.settings import ModelSection


@dataclass(frozen=True)
class Curves:
    """Fitted curves, as of one day.

    Attributes
    ----------
    library : Library
    catalogue : Catalogue
        Structure and prior of each commodity; codes of commodities are positions in its names.
    experience : ExperienceFit
    volumes : VolumeIndices
    inputs : InputPrices
    own_volume : DataFrame
        Index commodity: slope, slope_sd, n_breaks.
    fx : Rates
    quotes : DataFrame
        Usable quotes, with the commodity and sourcing of their part.
    offers : Offers
        The same as plain arrays.
    observations : DataFrame
        What the fit saw: commodity, part_no, date, log_price (real), log_experience, noise, learned.
        [-, -, day, ln, ln, ln, -]
    classification : (float, float)
        Mean and sd of yearly real price change over commodities, for lines of unsure commodity. [ln/year]
    model : ModelSection
    as_of : date
        Day the curves know the world up to.
    findings : tuple of Finding
    assumptions : DataFrame
        name, value, stated, source.
    """

    library: Library
    catalogue: Catalogue
    experience: ExperienceFit
    volumes: VolumeIndices
    inputs: InputPrices
    own_volume: pd.DataFrame
    fx: Rates
    quotes: pd.DataFrame
    offers: Offers
    observations: pd.DataFrame
    classification: tuple[float, float]
    model: ModelSection
    as_of: date
    findings: tuple[Finding, ...]
    assumptions: pd.DataFrame

    @property
    def maturity(self) -> pd.DataFrame:
        """One row a commodity with a volume index: see :class:`bomaudit.curves.volumes.VolumeIndices`."""
        return self.volumes.maturity

    def column(self, name: str) -> Floats:
        """Figures of a catalogue column, by commodity code."""
        return self.catalogue.frame[name].to_numpy(dtype=float)

    def is_(self, name: str, value: str) -> npt.NDArray[np.bool_]:
        """Whether a catalogue column holds a word, by commodity code."""
        return (self.catalogue.frame[name] == value).to_numpy(dtype=bool)

    @cached_property
    def volume_codes(self) -> Codes:
        """Volume index of each commodity code, -1 for none."""
        return self.volumes.lines.codes(np.array(self.catalogue.names, dtype=object))

    @cached_property
    def whole_price(self) -> npt.NDArray[np.bool_]:
        """Whether a commodity's exponent is one of whole prices, by commodity code.

        Own quotes are whole prices: where they bear on the exponent, a prior measured on the conversion share has been
        carried over to the whole price and stays there.
        """
        return np.asarray(self.is_("applies_to", "whole_price") | self.drawn)

    @cached_property
    def takes_markup(self) -> npt.NDArray[np.bool_]:
        """Whether a commodity's curve was measured on costs, so that the mark-up still has to be added.

        Own quotes are prices and hold it already.
        """
        return np.asarray(self.is_("measured_on", "cost") & ~self.drawn)

    @cached_property
    def drawn(self) -> npt.NDArray[np.bool_]:
        """Whether own quotes bear on a commodity's exponent, by commodity code."""
        return self.experience.frame["data_weight"].to_numpy(dtype=float) > _DRAWN


_DRAWN = 0.05  # weight of own quotes above which they, not the library, say what was measured
