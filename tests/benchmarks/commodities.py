"""Commodity by description against the commodity that a sample states: how many are classified, how many right.

Run: ``python tests/benchmarks/commodities.py``. The sample is invented by the same project as the catalogue: its
figures show whether one way of classifying beats another, not what a client's descriptions will give. The rival is a
text model: weights of letter sequences within words, of the catalogue's names and keywords, the nearest by cosine. It
needs scikit-learn, which the program itself does not, and is left out where that is absent.
"""

from importlib import import_module
from importlib.util import find_spec

import numpy as np
import numpy.typing as npt
import pandas as pd

from bomaudit.prepare.commodity import classify
from bomaudit.resources import data_folder
from bomaudit.settings import load
from bomaudit.tables import read_audit

FLOORS = (0.01, 0.5, 0.7)


def main() -> None:
    """Print how many of the surest lines are right: by keywords, and as many by the text model."""
    catalogue = pd.read_csv(data_folder("learning_curves") / "commodities.csv", dtype=str, keep_default_na=False)
    folder = data_folder("sample_boms") / "floor_scrubber"
    bom = read_audit(folder, load(folder / "audit.toml")).tables["bom"]
    stated = bom[(bom["row_kind"] == "part") & (bom["commodity"] != "")]
    truth = stated["commodity"].to_numpy(dtype=object)
    guess, sure = classify(stated["description"], catalogue)
    print(f"{len(stated)} lines that state a commodity")
    shares = [float((sure >= floor).mean()) for floor in FLOORS]
    show("keywords", guess, sure, truth, shares)
    if find_spec("sklearn") is None:
        print("text model left out: scikit-learn is not installed")
        return
    for longest in (3, 4, 5):
        near, cosine = nearest(stated["description"], catalogue, longest)
        show(f"text model, sequences of 2 to {longest} letters", near, cosine, truth, shares)


def nearest(
    descriptions: pd.Series, catalogue: pd.DataFrame, longest: int
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.float64]]:
    """Commodity whose single keyword is nearest by cosine, and the cosine."""
    named = catalogue["commodity"].str.replace("_", " ") + ";" + catalogue["keywords"]
    words = named.str.split(";").explode()
    words = words[words != ""]
    weigh = import_module("sklearn.feature_extraction.text").TfidfVectorizer(
        analyzer="char_wb", ngram_range=(2, longest), sublinear_tf=True
    )
    known = weigh.fit_transform(words)
    likeness = (weigh.transform(descriptions) @ known.T).toarray()
    best = likeness.argmax(axis=1)
    owners = catalogue["commodity"].loc[words.index].to_numpy(dtype=object)
    return owners[best], likeness.max(axis=1)


def show(
    name: str,
    guess: npt.NDArray[np.object_],
    sure: npt.NDArray[np.float64],
    truth: npt.NDArray[np.object_],
    shares: list[float],
) -> None:
    """Print how many of the surest share are right."""
    order = np.argsort(-sure, kind="stable")
    for share in shares:
        chosen = order[: round(share * len(truth))]
        hits = int((guess[chosen] == truth[chosen]).sum())
        print(f"{name}: surest {len(chosen):3} of {len(truth)}, {hits:3} right ({hits / len(chosen):.0%})")


if __name__ == "__main__":
    main()
