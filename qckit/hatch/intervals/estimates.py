"""What an interval rests on: a figure with its bounds, the spread a site knows, and the quantiles."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from qckit.errors import InputError
from qckit.showing import InWords
from qckit.words import plural

__all__ = ["Estimate", "Spread"]


@dataclass(frozen=True, repr=False)
class Estimate(InWords):
    """One figure with its interval over cones.

    ``value`` and ``sd`` are the plain mean and standard deviation over cones, as the standard test reports them;
    ``low`` and ``high`` are *the* interval, the one that is shown and whose coverage is checked; NaN where they cannot
    be known, and ``note`` then says why. ``counting_low`` and ``counting_high`` are what counting alone would give. Few
    cones that agree by luck can make the interval narrower than that; a decision then keeps to the wider bounds
    (:attr:`safe_low`, :attr:`safe_high`), and says so (:attr:`is_lucky`).

    Examples
    --------
    >>> figure = hatch.proportion_over_cones([240, 251, 246], [300, 305, 301])
    >>> figure.low < figure.value < figure.high
    True
    """

    value: float
    low: float = math.nan
    high: float = math.nan
    sd: float = math.nan
    counting_low: float = math.nan
    counting_high: float = math.nan
    n_cones: int = 0
    df: float = math.nan
    dispersion: float = math.nan
    confidence: float = 0.95
    method: str = ""
    note: str = ""

    def _in_words(self) -> dict:
        known = self.low == self.low
        span = f"{100 * self.confidence:g} % interval"
        cells = ("value", f"{self.value:.4g}", f"{self.low:.4g} to {self.high:.4g}" if known else "not known")
        counting = ("by counting alone", "", f"{self.counting_low:.4g} to {self.counting_high:.4g}")
        rows = [cells, *([counting] if self.counting_low == self.counting_low else [])]
        spread = f"; standard deviation over cones {self.sd:.3g}" if self.sd == self.sd else ""
        title = f"Estimate over {plural(self.n_cones, 'cone')}{spread}"
        return {"title": title, "lines": [self.method, self.note], "heads": ("", "mean", span), "rows": rows}

    def scaled(self, factor: float) -> Estimate:
        """Return the estimate in another unit (value, bounds and SD times ``factor``)."""
        names = ("value", "low", "high", "sd", "counting_low", "counting_high")
        return replace(self, **{name: getattr(self, name) * factor for name in names})

    @property
    def safe_low(self) -> float:
        """The lower of the two lower bounds; NaN when the interval over cones is not known."""
        return min(self.low, self.counting_low) if self.counting_low < self.low else self.low

    @property
    def safe_high(self) -> float:
        """The higher of the two upper bounds; NaN when the interval over cones is not known."""
        return max(self.high, self.counting_high) if self.counting_high > self.high else self.high

    @property
    def is_lucky(self) -> bool:
        """Whether counting alone would make the interval more than a twentieth wider."""
        return self.high - self.low < 0.95 * (self.safe_high - self.safe_low)

    @property
    def is_known(self) -> bool:
        """Whether both bounds are known."""
        return math.isfinite(self.low) and math.isfinite(self.high)


@dataclass(frozen=True)
class Spread:
    """What a site already knows of the spread between its cones.

    ``rho`` is the intra-cone correlation of the hatching percentage (0: cones differ by chance of counting alone),
    ``cv`` the coefficient of variation between cones of nauplii per gram beyond counting, ``df`` the degrees of
    freedom behind them. ``raw_rho`` and ``raw_cv2`` (cv squared) are the estimates before negative ones are set to 0:
    pooling needs these, because a spread that may only err upwards makes intervals too wide. ``n_cones`` counts the
    earlier cones that it was learned from.

    Examples
    --------
    >>> hatch.site_spread(cones).rho < 0.2
    True
    """

    rho: float
    cv: float
    df: float
    raw_rho: float = math.nan
    raw_cv2: float = math.nan
    n_cones: int = 0

    @property
    def pooled_rho(self) -> float:
        """The correlation to pool with a test's own."""
        return self.raw_rho if math.isfinite(self.raw_rho) else self.rho

    @property
    def pooled_cv2(self) -> float:
        """The squared coefficient of variation to pool with a test's own."""
        return self.raw_cv2 if math.isfinite(self.raw_cv2) else self.cv**2


def check_confidence(confidence: float) -> None:
    """Refuse a confidence outside 0.5 to 0.9999."""
    if not 0.5 <= confidence <= 0.9999:
        raise InputError(f"confidence is {confidence!r} and must lie between 0.5 and 0.9999. 0.95 is usual.")


@lru_cache(maxsize=256)
def normal_quantile(confidence):
    """Two-sided quantile of the normal distribution."""
    from scipy.special import ndtri  # scipy.stats takes a second to import

    return float(ndtri((1 + confidence) / 2))


@lru_cache(maxsize=256)
def student_quantile(confidence, df):
    """Two-sided quantile of Student's distribution."""
    from scipy.special import stdtrit

    return float(stdtrit(df, (1 + confidence) / 2))
