"""Commodity by description against the commodity that a sample states: how many are classified, how many right.

Run: ``python tests/benchmarks/commodities.py``. The sample is invented by the same project as the catalogue: its
figures show whether one way of classifying beats another, not what a client's descriptions will give.
"""

import pandas as pd

from bomaudit.prepare.commodity import classify
from bomaudit.resources import data_folder
from bomaudit.settings import load
from bomaudit.tables import read_audit


def main() -> None:
    """Print classified and right lines by confidence."""
    catalogue = pd.read_csv(data_folder("learning_curves") / "commodities.csv", dtype=str, keep_default_na=False)
    folder = data_folder("sample_boms") / "floor_scrubber"
    bom = read_audit(folder, load(folder / "audit.toml")).tables["bom"]
    stated = bom[(bom["row_kind"] == "part") & (bom["commodity"] != "")]
    guess, sure = classify(stated["description"], catalogue)
    right = guess == stated["commodity"].to_numpy()
    print(f"{len(stated)} lines that state a commodity")
    for floor in (0.01, 0.5, 0.7):
        chosen = sure >= floor
        hits = right[chosen]
        print(f"confidence >= {floor:4}: {chosen.sum():3} classified, {hits.sum():3} right ({hits.mean():.0%})")


if __name__ == "__main__":
    main()
