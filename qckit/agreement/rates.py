"""Detection rate and confusion between stages of one camera, from photos counted both ways.

Two ways in. With the objects of both counts paired (:func:`rates_from_matches`) every cell of the confusion is seen.
With totals per photo only (:func:`rates_from_counts`) the cells are estimated from how the totals go together; that
takes more photos, of different mixes, and says less.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np

from qckit.errors import InputError
from qckit.stages import STAGE_COLUMNS, STAGES

__all__ = ["CountRates", "rates_from_counts", "rates_from_matches"]

OUTCOMES = (*STAGES, "missed")
_BY_OBJECT = "matched objects"


@dataclass(frozen=True)
class CountRates:
    """How this camera's photo counts come about from what is there.

    ``table[i, j]`` objects of true stage i that the photo counter called outcome j (stages, then missed), shape
    (4, 5); ``false`` objects counted where there was none, by stage, shape (4,); ``spread`` how much more the rates
    vary from photo to photo than chance makes them, as an intraclass correlation by true stage, shape (4,);
    ``false_spread`` variance over mean of false finds per photo, at least 1. ``draws`` are resampled matrices for
    ``from counts`` (empty otherwise), shape (k, 4, 5).

    Examples
    --------
    >>> agreement.rates_from_counts(by_hand, by_hand, n_draws=50).n_photos
    4
    """

    table: np.ndarray
    false: np.ndarray
    n_photos: int
    photo_size: np.ndarray  # mean objects per photo by true stage, for the spread
    spread: np.ndarray
    false_spread: float
    source: str  # "matched objects" or "counts per photo"
    draws: np.ndarray

    @property
    def is_by_object(self) -> bool:
        """Whether object was laid beside object; else the cells are a guess from totals, fit to correct by only."""
        return self.source == _BY_OBJECT

    @property
    def matrix(self) -> np.ndarray:
        """Share of each true stage (row) given each outcome (column), shape (4, 5), NaN where none was seen."""
        total = self.table.sum(axis=1, keepdims=True)
        return np.divide(self.table, total, out=np.full_like(self.table, np.nan), where=total > 0)

    def to_frame(self, *, confidence=0.95):
        """Return a row per true stage and outcome: stage, outcome, n, of, rate, low, high (Wilson, widened by spread).

        The outcome ``found`` stands for the detection rate (any stage), ``right`` for the right stage among the found.
        """
        import pandas as pd

        rows = []
        for i, stage in enumerate(STAGES):
            total, missed = self.table[i].sum(), self.table[i, -1]
            inflate = 1 + max(self.photo_size[i] - 1, 0) * self.spread[i]
            cells = [("found", total - missed, total), ("right", self.table[i, i], total - missed)]
            cells += [(outcome, self.table[i, j], total) for j, outcome in enumerate(OUTCOMES)]
            rows += [(stage, name, k, n, *_rate(k, n, inflate, confidence)) for name, k, n in cells]
        return pd.DataFrame(rows, columns=["stage", "outcome", "n", "of", "rate", "low", "high"])

    def to_json(self) -> str:
        """Return everything needed to correct counts later, as JSON."""
        return json.dumps(
            {
                "outcomes": list(OUTCOMES),
                "table": np.round(self.table, 4).tolist(),
                "false": np.round(self.false, 4).tolist(),
                "n_photos": self.n_photos,
                "photo_size": np.round(self.photo_size, 4).tolist(),
                "spread": np.round(self.spread, 6).tolist(),
                "false_spread": round(self.false_spread, 4),
                "source": self.source,
                "draws": np.round(self.draws, 5).tolist(),
            }
        )

    @classmethod
    def from_json(cls, text: str) -> CountRates:
        """Read what :meth:`to_json` wrote."""
        data = json.loads(text)
        return cls(
            table=np.array(data["table"], float),
            false=np.array(data["false"], float),
            n_photos=int(data["n_photos"]),
            photo_size=np.array(data["photo_size"], float),
            spread=np.array(data["spread"], float),
            false_spread=float(data["false_spread"]),
            source=data["source"],
            draws=np.array(data["draws"], float).reshape(-1, len(STAGES), len(OUTCOMES)),
        )


def _rate(k, n, inflate, confidence):
    """Rate with a Wilson interval on the number of objects worth after clustering; NaN when there are none."""
    if n <= 0:
        return np.nan, np.nan, np.nan
    from scipy.stats import norm

    z, p, n_effective = norm.ppf(0.5 + confidence / 2), min(k / n, 1.0), n / inflate
    middle = (p + z * z / (2 * n_effective)) / (1 + z * z / n_effective)
    half = z * np.sqrt(p * (1 - p) / n_effective + z * z / (4 * n_effective**2)) / (1 + z * z / n_effective)
    return p, max(0.0, middle - half), min(1.0, middle + half)


def rates_from_matches(matches) -> CountRates:
    """Detection and confusion from paired objects.

    Parameters
    ----------
    matches : DataFrame, shape (n, any)
        photo, hand (true stage or ``none``), photo_stage (stage or ``missed``), as :func:`match_objects` returns.

    Returns
    -------
    CountRates

    Raises
    ------
    InputError
        Fewer than 3 photos, or a word that is no stage.

    Notes
    -----
    The spread between photos is the analysis-of-variance estimate of the intraclass correlation of "found and called
    right" (Fleiss 1981, Statistical Methods for Rates and Proportions, ch. 13), set to 0 when negative.

    Examples
    --------
    >>> marks = pd.DataFrame({"photo": list("abc"), "stage": "cyst", "x_px": [100.0, 400.0, 20.0], "y_px": 90.0})
    >>> agreement.rates_from_matches(agreement.match_objects(marks, marks, um_per_px=6.2)).n_photos
    3
    """
    import pandas as pd

    for column, extra in (("hand", "none"), ("photo_stage", "missed")):
        unknown = sorted(set(matches[column]) - {*STAGES, extra})
        if unknown:
            raise InputError(f"{column} holds {unknown[0]!r}. Known: {', '.join((*STAGES, extra))}.")
    photos = matches["photo"].nunique()
    _enough(photos)
    real = matches[matches["hand"] != "none"]
    table = pd.crosstab(real["hand"], real["photo_stage"]).reindex(index=STAGES, columns=OUTCOMES, fill_value=0)
    false = matches[matches["hand"] == "none"]
    per_photo = false.groupby("photo").size().reindex(matches["photo"].unique(), fill_value=0).to_numpy(float)
    sizes, spreads = [], []
    for stage in STAGES:
        mine = real[real["hand"] == stage]
        group = (mine["photo_stage"] == stage).groupby(mine["photo"]).agg(["sum", "size"])
        sizes.append(group["size"].mean() if len(group) else 0.0)
        spreads.append(_intraclass(group["sum"].to_numpy(float), group["size"].to_numpy(float)))
    mean = per_photo.mean()
    return CountRates(
        table=table.to_numpy(float),
        false=false.groupby("photo_stage").size().reindex(STAGES, fill_value=0).to_numpy(float),
        n_photos=photos,
        photo_size=np.array(sizes),
        spread=np.array(spreads),
        false_spread=float(max(1.0, per_photo.var(ddof=1) / mean)) if mean > 0 else 1.0,
        source=_BY_OBJECT,
        draws=np.empty((0, len(STAGES), len(OUTCOMES))),
    )


def _enough(photos):
    if photos < 3:
        raise InputError(
            f"{photos} photo(s) counted both ways; at least 3 are needed to see how much the rates differ "
            "from photo to photo, and 10 are better. Count more photos by hand."
        )


def _intraclass(k, n):
    """Intraclass correlation of successes k of n by group, from the analysis of variance; 0 when not above chance."""
    k, n = k[n > 0], n[n > 0]
    groups, total = len(n), n.sum()
    if groups < 2 or total <= groups:
        return 0.0
    p, share = k / n, k.sum() / total
    between = (n * (p - share) ** 2).sum() / (groups - 1)
    within = (n * p * (1 - p)).sum() / (total - groups)
    size = (total - (n**2).sum() / total) / (groups - 1)
    below = between + (size - 1) * within
    return float(min(max((between - within) / below, 0.0), 1.0)) if below > 0 else 0.0


def rates_from_counts(photo_counts, hand_counts, *, n_draws=400, seed=20, weight=4.0) -> CountRates:
    """Detection and confusion from totals per photo, counted both ways.

    Parameters
    ----------
    photo_counts, hand_counts : DataFrame, shape (n, any)
        photo, nauplii, umbrella, cysts, shells (missing columns count as not looked at). Photos are joined by name.
    n_draws : int
        Photos are drawn again this often (bootstrap) to see how sure the rates are.
    seed : int
        Of the drawing.
    weight : float
        How many objects' worth of "seen and called right" each stage starts with. 0 trusts the totals alone, which
        cannot tell a missed cyst from one called a shell when all photos have the same mix.

    Returns
    -------
    CountRates
        ``table`` is scaled to the hand counts; ``spread`` is one value for all stages, from the residuals.

    Raises
    ------
    InputError
        Fewer than 3 photos in common.

    Notes
    -----
    Poisson likelihood of photo totals that are non-negative mixtures of hand totals, by expectation-maximisation; the
    mixing weights of one true stage never sum to more than 1. False finds cannot be told from totals and are taken
    as none.

    Examples
    --------
    >>> agreement.rates_from_counts(by_hand, by_hand, n_draws=50).table.shape
    (4, 5)
    """
    joined = photo_counts.merge(hand_counts, on="photo", suffixes=("_photo", "_hand"))
    _enough(len(joined))
    columns = [STAGE_COLUMNS[s] for s in STAGES]

    def numbers(which):
        return np.column_stack(
            [
                joined[f"{c}_{which}"].astype(float).fillna(0).to_numpy()
                if f"{c}_{which}" in joined
                else np.zeros(len(joined))
                for c in columns
            ]
        )

    counted, true = numbers("photo"), numbers("hand")
    rng = np.random.default_rng(seed)
    matrix = _unmix(counted, true, weight)
    picks = np.array([rng.integers(0, len(joined), len(joined)) for _ in range(n_draws)], int).reshape(n_draws, -1)
    draws = _unmix(counted[picks], true[picks], weight) if n_draws else np.empty((0, len(STAGES), len(OUTCOMES)))
    if n_draws:  # a resample of n photos varies less than n fresh ones by the four weights fitted to each outcome
        free = max(len(joined) - 4, 1)
        widen = np.sqrt(len(joined) / rng.chisquare(free, n_draws))[:, None, None]
        draws = np.clip(matrix + (draws - matrix) * widen, 0, 1)
    return CountRates(
        table=matrix * true.sum(axis=0)[:, None],
        false=np.zeros(len(STAGES)),
        n_photos=len(joined),
        photo_size=true.mean(axis=0),
        spread=np.zeros(len(STAGES)),
        false_spread=1.0,
        source="counts per photo",
        draws=draws,
    )


def _unmix(counted, true, weight, rounds=400):
    """Mixing matrices (..., 4, 5) of photo totals (..., n, 4) out of hand totals (..., n, 4)."""
    k = len(STAGES)
    prior = weight * np.eye(k)
    m = np.full((*true.shape[:-2], k, k), 0.02) + np.eye(k) * 0.9
    size = np.maximum(true.sum(axis=-2)[..., None] + weight, 1e-12)
    turned = np.swapaxes(true, -1, -2)
    for _ in range(rounds):
        expected = true @ m
        ratio = np.divide(counted, expected, out=np.zeros_like(counted), where=expected > 1e-12)
        m = (m * (turned @ ratio) + prior) / size
        m /= np.maximum(m.sum(axis=-1, keepdims=True), 1.0)
    return np.concatenate([m, np.maximum(1 - m.sum(axis=-1, keepdims=True), 0.0)], axis=-1)
