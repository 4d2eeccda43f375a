"""Small hand-made lines, quotes and tables, in the shape that preparing leaves them."""

from datetime import date

import numpy as np
import pandas as pd

from bomaudit.curves.fit import fit_curves
from bomaudit.curves.library import Library, load_library
from bomaudit.frames import conform
from bomaudit.glossary import INPUT_PRICES, QUOTES, VOLUMES
from bomaudit.prepare.currency import reference_rates
from bomaudit.settings import FilesSection, ModelSection, Settings

AS_OF = date(2026, 6, 30)
EURO = reference_rates("EUR")


def make_lines(rows: int = 1, **columns) -> pd.DataFrame:
    """Prepared lines; a scalar stands for every row."""
    given = {
        "part_no": [f"P{k}" for k in range(rows)], "commodity": "dc_motor", "commodity_confidence": 1.0,
        "sourcing": "standard", "basis_date": "2016-06-30", "basis_date_sd": 0.0, "basis_noise": 0.03,
        "price_at_basis": 10.0, "price_currency": "EUR", "agreed_reduction": np.nan, "agreed_until": None,
        "annual_qty_then": np.nan, "annual_qty_now": np.nan, "supplier": "", "auditable": True, "basis": "quote",
    } | columns  # fmt: skip
    lines = pd.DataFrame({name: value if isinstance(value, list) else [value] * rows for name, value in given.items()})
    for name in ("basis_date", "agreed_until"):
        lines[name] = pd.to_datetime(lines[name]).astype("datetime64[us]")
    rate = EURO.rate(lines["price_currency"].to_numpy(dtype=object), lines["basis_date"].to_numpy())
    return lines.assign(booked_cost=lines["price_at_basis"] * rate)


def make_quotes(*rows: tuple, **columns) -> pd.DataFrame:
    """Usable quotes from (part_no, date, price) triples, firm and in EUR unless told otherwise."""
    table = pd.DataFrame(list(rows), columns=["part_no", "quote_date", "unit_price"])
    table = table.assign(**({"currency": "EUR", "kind": "firm", "min_qty": 0.0} | columns))
    table["quote_date"] = pd.to_datetime(table["quote_date"])
    return conform(table, QUOTES)


def make_volumes(commodity: str, first_year: int, volume, **columns) -> pd.DataFrame:
    """Yearly volumes from ``first_year`` on."""
    years = [f"{first_year + k}-12-31" for k in range(len(volume))]
    table = pd.DataFrame({"commodity": commodity, "period": pd.to_datetime(years), "volume": volume})
    return conform(table.assign(**columns), VOLUMES)


def make_prices(series: str, first_year: int, values, currency: str = "EUR") -> pd.DataFrame:
    """Yearly input prices from ``first_year`` on."""
    years = [f"{first_year + k}-12-31" for k in range(len(values))]
    table = pd.DataFrame({"series": series, "period": pd.to_datetime(years), "value": values, "currency": currency})
    return conform(table, INPUT_PRICES)


def flat_inflation(first_year: int = 2008, last_year: int = 2027) -> pd.DataFrame:
    """No inflation in any currency that tests pay in."""
    count = last_year - first_year + 1
    tables = [make_prices("general_inflation", first_year, [100.0] * count, c) for c in ("EUR", "USD", "CNY")]
    return pd.concat(tables, ignore_index=True)


def bare_library() -> Library:
    """The bundled library without starter volumes and input prices."""
    library = load_library()
    return Library(library.curves, library.commodities, library.volumes.iloc[:0], library.input_prices.iloc[:0])


def make_curves(lines, *, quotes=None, volumes=None, input_prices=None, library=None, as_of=AS_OF, fx=EURO, **model):
    """Curves fitted to what is given."""
    return fit_curves(
        quotes=make_quotes() if quotes is None else quotes,
        volumes=conform(pd.DataFrame(), VOLUMES) if volumes is None else volumes,
        input_prices=conform(pd.DataFrame(), INPUT_PRICES) if input_prices is None else input_prices,
        lines=lines,
        library=library or load_library(),
        fx=fx,
        settings=Settings(files=FilesSection(bom="bom.csv"), model=ModelSection(**model)),
        as_of=as_of,
    )
