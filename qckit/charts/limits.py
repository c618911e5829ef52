"""Control limits as data: what is estimated from a baseline, and what it says of each later point.

``fit_limits`` estimates, ``apply_limits`` judges; between the two stands a small frozen record that can be stored.
Nothing here draws.
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass, field, replace

import numpy as np
import pandas as pd

from qckit.charts.day_spread import Sharing
from qckit.charts.days import day_numbers
from qckit.charts.overdispersed import between_share, lean, least_sigma, limit_value, on_the_line
from qckit.charts.points import COUNTS, KINDS, check_points, working_values
from qckit.charts.spread import D2_EXACT, D2_TABLE, D4_TABLE, estimate_spread, moving_range
from qckit.errors import InputError, unknown_name
from qckit.words import plural

__all__ = [
    "CHART_COLUMNS",
    "D2_EXACT",
    "D2_TABLE",
    "D4_TABLE",
    "Limits",
    "apply_limits",
    "fit_limits",
    "moving_range",
]

CHART_COLUMNS = ("point", "label", "at", "group", "value", "size", "centre", "sigma", "low", "high", "z", "phase")
"""Columns of every chart's frame; ``value`` to ``high`` are in the chart's unit, ``z`` in standard deviations."""


@dataclass(frozen=True)
class Limits:
    """Limits estimated from a baseline, ready to be applied to other points.

    Attributes
    ----------
    kind : str
        One of :data:`qckit.charts.points.KINDS`.
    centre : float
        Mean on the working scale: a share (not percent) for p, a rate per unit for u, a value, or a log value.
    sigma : float
        Standard deviation of a point on the working scale; for the prime charts the factor by which the spread
        exceeds the binomial or Poisson one; 1 for p and u.
    n_points : int
        Points the limits rest on.
    width : float
        Standard deviations from the centre to a limit: 3, or more for a short baseline.
    per : float
        What the chart's unit is: 100 for percent, 1000 for "per 1000". Limits are multiplied by it.
    df : float
        Degrees of freedom of ``sigma``; infinite when it is taken as known.
    spread : str
        ``moving range``, ``standard deviation``, ``days`` or ``given``.
    d2 : float
        Constant that turned the mean moving range into ``sigma``.
    slope_per_day, origin_day : float
        Slope of the centre on the working scale, and the day (since 1970) at which it is ``centre``; slope 0 is a
        level centre line.
    reach : dict
        Rule code -> what the rule needs in place of its textbook figure, so that its false-alarm rate holds although
        the limits are estimates (see :mod:`qckit.charts.baseline`).
    law : str
        ``symmetric``: limits as published. ``leaning`` (prime charts): limits with the chance of 3 standard
        deviations in each tail of a law that leans as overdispersed counts do, ``between`` being the part of the
        spread that does not shrink with the number counted (see :mod:`qckit.charts.overdispersed`).
    between : float
        Variance between hatches per thing counted, relative to the plain law's.
    independent : float
        Independent points that tell the centre as well as the ``n_points`` do, where hatches share days; 0: as many.

    Examples
    --------
    >>> points = pd.DataFrame({"value": [80.0, 82, 79, 85, 81, 78, 83, 80]})
    >>> limits = charts.fit_limits(points, "individuals")
    >>> limits.kind, limits.n_points, limits.centre
    ('individuals', 8, 81.0)
    """

    kind: str
    centre: float
    sigma: float
    n_points: int
    width: float = 3.0
    per: float = 1.0
    df: float = math.inf
    spread: str = "moving range"
    d2: float = D2_TABLE
    slope_per_day: float = 0.0
    origin_day: float = 0.0
    reach: dict = field(default_factory=dict)
    law: str = "symmetric"
    between: float = 0.0
    independent: float = 0.0

    @property
    def n_independent(self) -> int:
        """Independent points that tell the centre as well."""
        return max(2, round(self.independent)) if self.independent else self.n_points

    def to_json(self) -> str:
        """Return the limits as JSON text, for the log's baselines table."""
        values = asdict(self)
        values["df"] = None if math.isinf(self.df) else self.df
        return json.dumps(values, sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Limits:
        """Read limits back.

        Raises
        ------
        InputError
            The text is not what :meth:`to_json` wrote.
        """
        try:
            values = json.loads(text)
            values["df"] = math.inf if values.get("df") is None else float(values["df"])
            found = cls(**values)
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            raise InputError(
                f"baselines: the stored limits cannot be read ({error}). Set the baseline again from its hatches."
            ) from error
        if found.kind not in KINDS:
            raise unknown_name("kind of chart", found.kind, KINDS, where="baselines")
        return found

    def with_width(self, width: float, reach: dict | None = None) -> Limits:
        """Return a copy with other widths."""
        return replace(self, width=width, reach=dict(reach or {}))


def _base_sigma(kind, centre, size):
    """Standard deviation of a point under the plain model (1 for individuals), shape (n,)."""
    if kind in ("p", "p prime"):
        spread = centre * (1 - centre)
    elif kind in ("u", "u prime"):
        spread = centre
    else:
        return np.ones(np.shape(size))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.sqrt(np.clip(spread, 0, None) / size)


def _days(at):
    return (at - pd.Timestamp("1970-01-01", tz="UTC")) / pd.Timedelta(days=1)


def _line(limits: Limits, at):
    """Centre on the working scale for each point, shape (n,)."""
    if not limits.slope_per_day:
        return np.full(len(at), limits.centre)
    return limits.centre + limits.slope_per_day * (_days(at).to_numpy(dtype=float) - limits.origin_day)


def fit_limits(
    points,
    kind: str,
    *,
    include=None,
    per=1.0,
    d2=D2_TABLE,
    spread="moving range",
    slope_per_day=0.0,
    law="symmetric",
) -> Limits:
    """Estimate limits from a baseline.

    Parameters
    ----------
    points : DataFrame, shape (n, any)
        See :func:`qckit.charts.points.check_points`; in the order of time.
    kind : str
        One of :data:`qckit.charts.points.KINDS`.
    include : array_like of bool, shape (n,), optional
        Points to use; all when left out. Moving ranges are taken between neighbours among them, and never across
        two groups.
    per : float
        The chart's unit: 1, 100 for percent, 1000 for "per 1000".
    d2 : float
        1.128 as in printed tables, or :data:`D2_EXACT`.
    spread : str or day_spread.Sharing
        ``moving range`` (short-term spread; a shift inside the baseline hardly inflates it) or
        ``standard deviation`` (all of the spread); or what is known of days whose hatches may be alike (all of it, as
        unsure as they leave it: :mod:`qckit.charts.day_spread`; the points need ``at``).
    slope_per_day : float
        Slope of the centre line on the working scale, about the mean time of the points. [1/day]
    law : str
        ``symmetric`` (as published) or ``leaning``, which only the prime charts take notice of.

    Returns
    -------
    Limits
        With ``width`` 3; :func:`qckit.charts.baseline.widen` makes it fit the number of points.

    Raises
    ------
    InputError
        Fewer than two usable points, or the input is wrong.

    References
    ----------
    Shewhart charts: ISO 7870-2. Prime charts: Laney 2002, Quality Engineering 14:531-537, sigma_z = mean moving
    range of z / 1.128.

    Examples
    --------
    >>> points = pd.DataFrame({"value": [80.0, 82, 79, 85, 81, 78, 83, 80]})
    >>> charts.fit_limits(points, "individuals").centre
    81.0
    """
    clean = check_points(points, kind)
    used = clean[np.asarray(include, bool)] if include is not None else clean
    used = used[used["value"].notna()]
    if len(used) < 2:
        raise InputError(
            f"{plural(len(used), 'usable point')}, and limits need at least two "
            "(20 to 40 make a fair baseline). Widen the period, or wait for more hatches.",
            where="points",
        )
    day0, y = 0.0, working_values(used, kind)
    if slope_per_day:
        day0 = float(_days(used["at"]).mean())
        y = y - slope_per_day * (_days(used["at"]).to_numpy(dtype=float) - day0)
    if kind in COUNTS:
        weight = used["size"].to_numpy()
        centre = float(np.sum(y * weight) / np.sum(weight))
    else:
        centre = float(np.mean(y))
    shell = Limits(
        kind=kind,
        centre=centre,
        sigma=1.0,
        n_points=len(used),
        per=float(per),
        d2=float(d2),
        spread="days" if isinstance(spread, Sharing) else spread,
        slope_per_day=float(slope_per_day),
        origin_day=day0,
    )
    base = _base_sigma(kind, centre, used["size"].to_numpy())
    if not np.all(base > 0):
        raise InputError(
            f"all {len(used)} points are {'0' if centre <= 0 else 'the whole'}, so there is no spread to set "
            "limits from. Check that this was counted.",
            where="points",
        )
    if kind in ("p", "u"):
        return replace(shell, spread="given")
    residual, sizes = (y - centre) / base, used["size"].to_numpy()
    days = day_numbers(used["at"]) if isinstance(spread, Sharing) else None
    how = {"group": used["group"].to_numpy(), "spread": spread, "d2": d2, "where": "points", "days": days}
    found = estimate_spread(residual, **how)
    if law == "leaning" and kind in ("p prime", "u prime"):
        between = between_share(found.sigma, sizes)
        found = estimate_spread(residual / np.sqrt(1 + between * sizes), **how)
        found = replace(found, sigma=max(found.sigma, least_sigma(kind, centre, sizes)))
        shell = replace(shell, law=law, between=between)
    df = max(found.df - 1, 1.0) if slope_per_day else found.df
    return replace(shell, sigma=found.sigma, df=df, independent=found.independent)


def apply_limits(limits: Limits, points, *, clip=True, phase=""):
    """Place points against limits.

    Parameters
    ----------
    limits : Limits
        From :func:`fit_limits`.
    points : DataFrame, shape (n, any)
        See :func:`qckit.charts.points.check_points`.
    clip : bool
        Keep limits inside what is possible (0 and, for shares, the whole).
    phase : str or array_like of str, shape (n,)
        What each point is in the chart: ``baseline``, ``set aside``, ``monitored``.

    Returns
    -------
    DataFrame, shape (n, len(CHART_COLUMNS))
        ``low`` and ``high`` follow each point's own size (stepped limits). ``sigma`` is the standard deviation
        before widening, ``z`` counts in it (for a leaning law it is the normal score of the point instead, and 0
        where the law's middle falls on the point's own count: such a point is on no side of the line).

    Examples
    --------
    >>> points = pd.DataFrame({"value": [80.0, 82, 79, 85, 81, 78, 83, 80]})
    >>> limits = charts.fit_limits(points, "individuals")
    >>> charts.apply_limits(limits, pd.DataFrame({"value": [99.0]}))["z"].round(1).tolist()
    [5.5]
    """
    kind, per = limits.kind, limits.per
    clean = check_points(points, kind)
    centre = _line(limits, clean["at"])
    if kind in ("p", "p prime"):
        centre = np.clip(centre, 1e-9, 1 - 1e-9)
    y, size = working_values(clean, kind), clean["size"].to_numpy()
    stretch = limits.sigma * np.sqrt(1 + limits.between * size) if limits.between else limits.sigma
    sigma = stretch * _base_sigma(kind, centre, size)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (y - centre) / sigma
    far_low, far_high = -limits.width, limits.width
    if limits.law == "leaning":
        skewness = lean(kind, centre, size, np.broadcast_to(stretch, len(clean)) ** 2)
        z = on_the_line(z, 0.5 / size / sigma, skewness)
        far_low, far_high = limit_value(far_low, skewness), limit_value(far_high, skewness)
    low, high = centre + far_low * sigma, centre + far_high * sigma
    if kind == "log individuals":
        centre, low, high = np.exp(centre), np.exp(low), np.exp(high)
        sigma = sigma * centre  # first order; the limits themselves are exact
    if clip and kind in COUNTS:
        low = np.clip(low, 0, None)
        high = np.clip(high, None, 1) if kind in ("p", "p prime") else high
    frame = pd.DataFrame(
        {
            "point": np.arange(1, len(clean) + 1),
            "label": clean["label"],
            "at": clean["at"],
            "group": clean["group"],
            "value": clean["value"] * per,
            "size": clean["size"],
            "centre": centre * per,
            "sigma": sigma * per,
            "low": low * per,
            "high": high * per,
            "z": z,
            "phase": phase,
        }
    )
    return frame[list(CHART_COLUMNS)]
