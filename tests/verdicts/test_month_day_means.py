"""Mean figures of a lot whose hatches share days and whose days remember each other."""

import numpy as np
import pandas as pd
import pytest
from scipy import signal, special

from qckit import charts, hatch
from qckit.verdicts.month.day_means import mean_per_g, mean_share


def month(rng, share_of_day, memory, days, per_day):
    """Hatches whose logits scatter by 0.25, and whose nauplii per gram by a tenth, partly together."""
    daily = rng.normal(size=days) * np.sqrt([1, *np.full(days - 1, 1 - memory**2)])
    daily = signal.lfilter([1], [1, -memory], daily)
    scatter = np.sqrt(share_of_day) * daily[:, None] + np.sqrt(1 - share_of_day) * rng.normal(size=(days, per_day))
    scatter = scatter.ravel()
    whole = rng.integers(150, 400, len(scatter))
    at = pd.Timestamp("2026-09-01", tz="UTC") + pd.to_timedelta(np.repeat(np.arange(days), per_day), "D")
    return pd.DataFrame(
        {
            "at": at,
            "nauplii": rng.binomial(whole, special.expit(special.logit(0.85) + 0.25 * scatter)),
            "full_cysts": whole,
            "hatching_efficiency_per_g": 200_000 * np.exp(0.1 * scatter),
        }
    )


def true_share():
    nodes, weights = special.roots_hermitenorm(40)
    return float(weights @ special.expit(special.logit(0.85) + 0.25 * nodes) / weights.sum())


@pytest.mark.parametrize(
    ("share_of_day", "memory", "least", "of_hatches"), [(0, 0, 0.93, None), (0.6, 0, 0.91, 0.9), (0.6, 0.5, 0.86, 0.8)]
)
def test_the_intervals_hold_where_days_differ(share_of_day, memory, least, of_hatches):
    rng, runs = np.random.default_rng(4), 250
    held = np.zeros(3)
    for _ in range(runs):
        hatches = month(rng, share_of_day, memory, 30, 4)
        share, per_g = mean_share(hatches), mean_per_g(hatches)
        one_by_one = hatch.proportion_over_cones(hatches["nauplii"], hatches["full_cysts"])
        held += [
            share.low <= true_share() <= share.high,
            per_g.low <= 200_000 * np.exp(0.005) <= per_g.high,
            one_by_one.low <= true_share() <= one_by_one.high,
        ]
    assert (held[:2] / runs).min() >= least
    assert of_hatches is None or held[2] / runs < of_hatches  # the day matters


def test_the_figure_is_the_plain_mean_over_hatches():
    hatches = month(np.random.default_rng(1), 0.5, 0, 10, 3)
    each = hatches["nauplii"] / hatches["full_cysts"]
    assert mean_share(hatches).value == pytest.approx(each.mean())
    assert mean_per_g(hatches).value == pytest.approx(hatches["hatching_efficiency_per_g"].mean())


def test_hatches_of_a_single_day_stand_for_themselves():
    hatches = month(np.random.default_rng(1), 0.5, 0, 1, 4)
    assert mean_share(hatches) == hatch.proportion_over_cones(hatches["nauplii"], hatches["full_cysts"])
    assert mean_per_g(hatches) == hatch.positive_mean_interval(hatches["hatching_efficiency_per_g"])


@pytest.mark.parametrize("nauplii", [0, 300])
def test_none_or_all_hatched_keeps_its_bounds(nauplii):
    hatches = month(np.random.default_rng(1), 0, 0, 5, 2).assign(nauplii=nauplii, full_cysts=300)
    found = mean_share(hatches)
    assert 0 <= found.low <= found.value <= found.high <= 1 and found.high - found.low > 0


def shares_below(rng, runs, draw, days=None):
    truth = 100 * np.mean(draw(rng, 200_000) < 75)
    found = [charts.share_below(draw(rng, 60), 75, days=days) for _ in range(runs)]
    return np.mean([f.share_pct_low <= truth <= f.share_pct_high for f in found])


def test_a_long_tail_of_poor_hatches_is_counted():
    def draw(rng, n):
        share = special.expit(special.logit(0.85) + rng.normal(0, 0.2, n))
        return 100 * rng.binomial(400, np.where(rng.random(n) < 0.06, 0.5, share)) / 400

    assert shares_below(np.random.default_rng(2), 150, draw) > 0.85  # 0.3 as the tail of a normal law


def test_days_make_the_share_below_less_sure():
    rng, runs, held = np.random.default_rng(3), 150, np.zeros(2)
    truth = 100 * special.ndtr((special.logit(0.75) - special.logit(0.85)) / 0.3)
    for _ in range(runs):
        scatter = np.repeat(rng.normal(0, 0.3 * np.sqrt(0.7), 15), 4) + rng.normal(0, 0.3 * np.sqrt(0.3), 60)
        pct = 100 * special.expit(special.logit(0.85) + scatter)
        for i, days in enumerate((None, np.repeat(np.arange(15), 4))):
            found = charts.share_below(pct, 75, days=days)
            held[i] += found.share_pct_low <= truth <= found.share_pct_high
    assert held[1] / runs > 0.9 > held[0] / runs


@pytest.mark.parametrize("days, per_day", [(5, 4), (6, 4)])
def test_few_days_that_remember_each_other_make_the_share_below_less_sure(days, per_day):
    rng, runs, held = np.random.default_rng(8), 200, 0
    truth = 100 * special.ndtr((special.logit(0.75) - special.logit(0.85)) / 0.35)
    for _ in range(runs):
        luck = rng.normal(size=days) * np.sqrt([1, *np.full(days - 1, 0.51)])
        daily = signal.lfilter([1], [1, -0.7], luck)
        scatter = np.repeat(daily, per_day) * np.sqrt(0.5) + rng.normal(size=days * per_day) * np.sqrt(0.5)
        pct = 100 * special.expit(special.logit(0.85) + 0.35 * scatter)
        found = charts.share_below(pct, 75, days=np.repeat(np.arange(days), per_day))
        held += found.share_pct_low <= truth <= found.share_pct_high
    assert held / runs > 0.88  # 84 and 82 % while fewer than eight days were taken to remember nothing
