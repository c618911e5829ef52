"""Limits over days that share something: held against other software, and by simulation with nothing tuned on it."""

import numpy as np
import pytest
from scipy import stats
from shared_days_table import frame_of, hatches, marks

from qckit.charts import day_spread as module
from qckit.charts.day_spread import day_spread, learn_sharing
from qckit.charts.days_elsewhere import day_blocks
from qckit.charts.series import CHARTED


def test_independent_points_get_students_prediction_limits():
    z = np.random.default_rng(2).normal(3, 2, 30)
    known = module.Sharing(weight=np.eye(len(module.NOTHING_LEARNED.weight))[0])  # that days have nothing in common
    found = day_spread(z, np.arange(30) // 3, known)
    # Student's law for one further observation (P27)
    far = stats.t.isf(0.00135, 29) * z.std(ddof=1) * np.sqrt(1 + 1 / 30)
    c4 = stats.chi.mean(found.df) / np.sqrt(found.df)
    assert found.sigma * c4 * stats.t.isf(0.00135, found.df) * np.sqrt(1 + 1 / found.independent) == pytest.approx(far)
    assert found.df == pytest.approx(29) and found.independent == pytest.approx(30)
    assert found.alike == pytest.approx(0)


def statsmodels_log_weights(z, days):
    """Restricted log likelihood of each share of the grid above 0, at the likeliest spread."""
    from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

    model = MixedLM(z, np.ones((len(z), 1)), groups=days)
    model.fit(reml=True)  # sets what the likelihood needs
    ratio = module._SHARES[1:] / (1 - module._SHARES[1:])
    params = [MixedLMParams.from_components(np.zeros(1), cov_re=np.array([[r]])) for r in ratio]
    return np.array([model.loglike(p) for p in params])


def test_shares_of_days_weigh_as_by_statsmodels_restricted_likelihood():
    days = np.repeat(np.arange(9), [2, 3, 4, 1, 5, 2, 3, 4, 2])
    rng = np.random.default_rng(4)
    z = rng.normal(size=9)[days] + rng.normal(size=len(days))
    log_weight = module._grid(z, days)[0][: len(module._SHARES)]  # those without memory
    theirs = statsmodels_log_weights(z, days)
    assert log_weight[1:] - log_weight[1] == pytest.approx(theirs - theirs[0], abs=1e-8)


def test_other_weeks_weigh_shares_as_by_statsmodels_and_leave_room_for_a_lot_that_differs():
    rng, n = np.random.default_rng(6), len(module._SHARES)
    weeks = [(hatches(rng, 7, 4, 0.5, 0.0), np.arange(28) // 4) for _ in range(4)]
    found = learn_sharing(weeks)
    theirs = sum(statsmodels_log_weights(*week) for week in weeks)
    vague = module.NOTHING_LEARNED.weight
    learned = (found.weight - 0.05 * vague)[1:n]
    assert np.log(learned / learned[0]) == pytest.approx(theirs - theirs[0], abs=1e-6)
    assert found.weight.sum() == pytest.approx(1) and np.all(found.weight >= 0.0499 * vague)
    assert found.n_days == 28
    assert learn_sharing(weeks * 10).n_days == 147  # what is older than 150 days is not read
    assert learn_sharing([(np.ones(8), np.arange(8))]) is module.NOTHING_LEARNED


def test_a_step_between_weeks_is_no_likeness_of_days():
    rng = np.random.default_rng(7)
    z = rng.normal(size=120) - 3 * (np.arange(120) >= 56)
    points = frame_of(z, per_day=4, lot="L").assign(value=200_000 * np.exp(0.1 * z), group="L", count=np.nan)
    blocks = list(day_blocks(points.assign(label=points["hatch"], size=np.nan), CHARTED["hatching_efficiency_per_g"]))
    assert [len(z) for z, _ in blocks] == [8, 28, 28, 28, 28]
    assert learn_sharing(blocks).weight[0] > 0.6


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


# 0.8 are stated. Limits of few days taken for those of as many hatches: 0.8, 1.1, 2.2 to 2.8, and 8.6 of five days
@pytest.mark.parametrize(
    "share, day_to_day, days, earlier, most",
    [(0, 0, 10, 0, 1.3), (0.5, 0, 10, 0, 1.0), (0.6, 0.5, 5, 0, 1.0), (0.6, 0.5, 10, 40, 0.8), (0.5, 0.8, 10, 40, 2)],
)
def test_hatches_that_share_days_are_not_marked_without_a_cause(share, day_to_day, days, earlier, most):
    rng = np.random.default_rng([12, int(10 * share)])
    found = [marks(rng, share, day_to_day, days=days, earlier=earlier).mean() for _ in range(40)]
    assert 100 * np.mean(found) < most


# of the second and third some 20 of 100 while the lot's first five days alone told whether hatches share days
@pytest.mark.parametrize("days, earlier", [(10, 0), (5, 0), (5, 40)])
def test_a_fall_of_independent_hatches_is_marked_within_a_week(days, earlier):
    rng = np.random.default_rng(13)
    assert np.mean([marks(rng, 0.0, 0.0, 1.5, days=days, earlier=earlier, later=7).any() for _ in range(40)]) > 0.75


def test_a_fall_within_the_month_does_not_hide_itself():
    rng = np.random.default_rng(14)
    found = [marks(rng, 0.0, 0.0, 1.5, earlier=40, quiet=int(rng.integers(5, 20)), later=7).any() for _ in range(40)]
    assert np.mean(found) > 0.75
