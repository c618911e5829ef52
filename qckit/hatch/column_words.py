"""Unit and meaning of each column of a table of figures, for who exports it or reads it elsewhere."""

from __future__ import annotations

import pandas as pd

from qckit.columns import TABLES
from qckit.hatch.registry import METRICS

__all__ = ["describe_columns"]

_FIGURES = {
    # columns that neither a record table nor a metric explains: (unit, meaning)
    "n_subsamples": ("", "subsamples of the reading, added up"),
    "unhatched": ("", "cysts, or embryos where those were counted (basis)"),
    "full_cysts": ("", "nauplii, umbrella and unhatched together"),
    "shell_whole": ("", "shells, umbrella and cysts of the subsamples in which shells were counted"),
    "shell_nauplii": ("", "nauplii of the subsamples in which shells were counted"),
    "shell_opened": ("", "shells of them, and umbrella that hang from theirs"),
    "basis": ("", "what unhatched is: cysts or embryos"),
    "counted_ul": ("µl", "volume counted, before dilution"),
    "factor_per_g": ("1/g", "from a count to a number per gram of cysts"),
    "n_left_out": ("", "subsamples of the reading that are not used"),
    "remarks": ("", "what has to be mentioned with the figures"),
    "purity_pct": ("%", "nauplii of all that was counted in a sieve sample"),
    "shells_and_cysts_pct": ("%", "shells and unhatched cysts of all that was counted in a sieve sample"),
    "shells_per_1000_nauplii": ("", "shells for every 1000 nauplii of a sieve sample"),
}
_MORE_OFTEN = ("hatches", "samples", "lots", "photos", "objects")
_BOUNDS = {"_low": "lower bound of the interval of ", "_high": "upper bound of the interval of "}


def describe_columns(table: pd.DataFrame | str) -> pd.DataFrame:
    """Give unit and meaning of each column of a table of the kit.

    Parameters
    ----------
    table : DataFrame or str
        Such as ``site.hatches()``, ``site.purity()``, ``site.samples``; or the name of a table of the log.

    Returns
    -------
    DataFrame, shape (n_columns, 3)
        column, unit, meaning; empty where a column is none of the kit's.

    Examples
    --------
    >>> about = hatch.describe_columns(site.hatches(lot="K-121")).set_index("column")
    >>> about.loc["hatching_efficiency_per_g_low", "unit"]
    'nauplii/g'
    """
    if isinstance(table, str):
        rows = [(c.name, c.unit, c.meaning) for c in TABLES[table]]
    else:
        rows = [(str(name), *_about(str(name))) for name in table.columns]
    return pd.DataFrame(rows, columns=["column", "unit", "meaning"])


def _about(name: str) -> tuple[str, str]:
    if name in METRICS:
        return METRICS[name].unit, METRICS[name].meaning
    for ending, words in _BOUNDS.items():
        if (metric := METRICS.get(name.removesuffix(ending))) is not None and name.endswith(ending):
            return metric.unit, words + metric.label
    if name in _FIGURES:
        return _FIGURES[name]
    for table in _MORE_OFTEN:
        for column in TABLES[table]:
            if column.name == name:
                return column.unit, column.meaning
    return "", ""
