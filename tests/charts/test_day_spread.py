"""Limits over days that share something: held against other software, and by simulation with nothing tuned on it."""

import numpy as np
import pandas as pd
import pytest
from scipy import signal, stats

from qckit.charts import day_spread as module
from qckit.charts.day_spread import day_spread
from qckit.charts.limits import apply_limits
from qckit.charts.lot_chart import _reviewed
from qckit.charts.rules import DEFAULT_RULES, find_signals
from qckit.charts.series import CHARTED


def hatches(rng, days, per_day, share, day_to_day):
    """Standard normal points of which the days have a share, and remember the day before."""
    luck = rng.normal(size=days + 20) * np.sqrt([1, *np.full(days + 19, 1 - day_to_day**2)])
    daily = signal.lfilter([1], [1, -day_to_day], luck)[20:]
    own = rng.normal(size=(days, per_day))
    return (np.sqrt(share) * daily[:, None] + np.sqrt(1 - share) * own).ravel()


def test_independent_points_get_students_prediction_limits(monkeypatch):
    monkeypatch.setattr(module, "_INDEPENDENT", 1.0)
    z = np.random.default_rng(2).normal(3, 2, 30)
    found = day_spread(z, np.arange(30) // 3)
    # Student's law for one further observation (P27)
    far = stats.t.isf(0.00135, 29) * z.std(ddof=1) * np.sqrt(1 + 1 / 30)
    c4 = stats.chi.mean(found.df) / np.sqrt(found.df)
    assert found.sigma * c4 * stats.t.isf(0.00135, found.df) * np.sqrt(1 + 1 / found.independent) == pytest.approx(far)
    assert found.df == pytest.approx(29) and found.independent == pytest.approx(30)
    assert found.alike == pytest.approx(0)


def test_shares_of_days_weigh_as_by_statsmodels_restricted_likelihood():
    from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

    days = np.repeat(np.arange(9), [2, 3, 4, 1, 5, 2, 3, 4, 2])
    rng = np.random.default_rng(4)
    z = rng.normal(size=9)[days] + rng.normal(size=len(days))
    log_weight = module._grid(z, days)[0][: len(module._SHARES)]  # those without memory
    model = MixedLM(z, np.ones((len(z), 1)), groups=days)
    model.fit(reml=True)  # sets what the likelihood needs
    theirs = [
        model.loglike(MixedLMParams.from_components(np.zeros(1), cov_re=np.array([[share / (1 - share)]])))
        for share in module._SHARES[1:]
    ]
    assert log_weight[1:] - log_weight[1] == pytest.approx(np.array(theirs) - theirs[0], abs=1e-8)


def test_a_memory_weighs_as_the_density_of_the_points_says():
    days, z = np.array([0, 0, 1, 3, 3, 4]), np.array([0.3, -0.2, 1.1, 0.9, 0.1, -1.2])
    log_weight = module._grid(z, days)[0].reshape(len(module._MEMORIES), -1)
    contrasts = np.linalg.qr(np.column_stack([np.ones(6), np.eye(6)[:, :5]]))[0][:, 1:]  # what no level changes

    def log_density(i, j):  # over every variance, with Jeffreys' prior: a Student law of the contrasts' direction
        alike = module._MEMORIES[i] ** np.abs(days[:, None] - days[None, :])
        cov = contrasts.T @ (module._SHARES[j] * alike + (1 - module._SHARES[j]) * np.eye(6)) @ contrasts
        y = contrasts.T @ z
        grid = np.exp(np.linspace(-9, 9, 4001))
        log = [stats.multivariate_normal.logpdf(y, cov=v * cov) for v in grid]
        return np.log(np.sum(np.exp(log)))  # even in the logarithm of the variance

    for i, j in ((3, 4), (6, 8), (1, 10)):
        assert log_weight[i, j] - log_weight[0, 0] == pytest.approx(log_density(i, j) - log_density(0, 0), abs=1e-4)


def marks(rng, share, day_to_day, step=0.0, *, n=40, per_day=4, later=30):
    """Which hatches after a baseline the chart of nauplii per gram marks."""
    days = n // per_day + later
    z = hatches(rng, days, per_day, share, day_to_day)
    z[n:] += step
    at = pd.Timestamp("2026-01-01", tz="UTC") + pd.to_timedelta(np.repeat(np.arange(days), per_day), "D")
    points = pd.DataFrame({"label": np.arange(len(z)).astype(str), "at": at, "group": ""})
    points["value"] = 200_000 * np.exp(0.1 * z)
    base, _, rules = _reviewed(points.head(n), CHARTED["hatching_efficiency_per_g"], {}, None, DEFAULT_RULES)
    frame = apply_limits(base.limits, points)
    found = find_signals(frame, rules, reach=base.limits.reach)
    return np.isin(frame["point"].to_numpy()[n:], found["point"].to_numpy())


# 0.8 are stated. Limits of few days taken for those of as many hatches: 0.8, 1.1, 2.2 to 2.8, and 8.6 of five days
@pytest.mark.parametrize("share, day_to_day, n, most", [(0, 0, 40, 1.3), (0.5, 0, 40, 1.0), (0.6, 0.5, 20, 1.5)])
def test_hatches_that_share_days_are_not_marked_without_a_cause(share, day_to_day, n, most):
    rng = np.random.default_rng([12, int(10 * share)])
    assert 100 * np.mean([marks(rng, share, day_to_day, n=n).mean() for _ in range(80)]) < most


def test_a_fall_of_independent_hatches_is_still_marked_within_a_week():
    rng = np.random.default_rng(13)
    assert np.mean([marks(rng, 0.0, 0.0, -1.5, later=7).any() for _ in range(60)]) > 0.8
