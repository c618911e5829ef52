"""P23: the model of levels against statsmodels' MixedLM, and shared error rates against statsmodels' multipletests.

The general-purpose library fits the same model where days have no memory and there is no prior: crossed variance
components by restricted likelihood (Patterson and Thompson 1971, Biometrika 58:545-554). False discovery rates: the
worked example of Benjamini and Hochberg 1995, J. R. Stat. Soc. B 57:289-300, table 1 (from memory: fifteen p values, of
which four are kept at 0.05), and multipletests on drawn ones.
"""

import numpy as np
import pandas as pd
import pytest

from qckit.charts.levels import LevelData, Priors, fit_levels
from qckit.verdicts.month.false_alarms import PAGE_RATE, SHARES, kept_by_fdr

# no priors to speak of, and no memory of days
FLAT = Priors(
    residual=1.0,
    residual_log_sd=1e3,
    day_share=1.0,
    day_log_sd=1e3,
    day_to_day=1e-4,
    day_to_day_logit_sd=1e-3,
    group_share=1.0,
    group_log_sd=1e3,
)
BH_1995 = (0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528)
BH_1995 += (0.7590, 1.0000)


def drawn(seed):
    rng = np.random.default_rng(seed)
    day = np.repeat(np.arange(60), 4)
    cone = np.tile(list("ABCDEFGH"), 30)
    lot = np.where(day < 30, "L1", "L2")
    y = np.where(lot == "L1", 1.0, 0.2) + rng.normal(0, 0.8, 60)[day]
    y += pd.Series(cone).map(dict(zip("ABCDEFGH", rng.normal(0, 0.7, 8), strict=True))).to_numpy() + rng.normal(
        0, 1, 240
    )
    return pd.DataFrame({"y": y, "day": day, "cone": cone, "lot": lot})


def test_spreads_and_levels_agree_with_the_library():
    import statsmodels.formula.api as smf

    for seed in (1, 2):
        frame = drawn(seed)
        parts = {"day": "0 + C(day)", "cone": "0 + C(cone)"}
        theirs = smf.mixedlm("y ~ 0 + lot", frame, groups=np.ones(len(frame)), vc_formula=parts).fit(reml=True)
        factors = {"lot": frame["lot"], "cone": frame["cone"]}
        data = LevelData(y=frame["y"], counting=np.zeros(len(frame)), day=frame["day"], factors=factors)
        ours = fit_levels(data, priors=FLAT)
        sd = dict(zip(theirs.model.exog_vc.names, np.sqrt(theirs.vcomp), strict=True))
        assert ours.spreads.residual == pytest.approx(np.sqrt(theirs.scale), rel=0.02)
        assert ours.spreads.day == pytest.approx(sd["day"], rel=0.05)
        assert ours.spreads.cone == pytest.approx(sd["cone"], rel=0.06)
        at = [i for i, (factor, _) in enumerate(ours.columns) if factor == "lot"]
        assert ours.coefficients[at] == pytest.approx(theirs.fe_params.to_numpy(), abs=0.02)
        assert np.sqrt(np.diag(ours.covariance)[at]) == pytest.approx(theirs.bse_fe.to_numpy(), rel=0.06)


def test_days_with_a_memory_agree_with_direct_generalised_least_squares():
    rng = np.random.default_rng(5)
    day = np.sort(rng.choice(np.arange(80), 90))
    y = rng.normal(0, 1, 90)
    ours = fit_levels(LevelData(y=y, counting=np.full(90, 0.1), day=day, factors={"lot": np.repeat("L1", 90)}))
    s = ours.spreads
    v = s.day**2 * s.day_to_day ** np.abs(day[:, None] - day[None, :]) + np.eye(90) * (s.residual**2 + 0.1)
    x = np.ones((90, 1))
    inverse = np.linalg.inv(v)
    p = inverse - inverse @ x @ np.linalg.inv(x.T @ inverse @ x) @ x.T @ inverse
    assert ours.precision == pytest.approx(p, abs=1e-8)
    assert ours.coefficients[0] == pytest.approx(float((x.T @ inverse @ y)[0] / (x.T @ inverse @ x)[0, 0]), abs=1e-8)


def test_false_discovery_rate_of_the_published_example_and_of_the_library():
    from statsmodels.stats.multitest import multipletests

    assert kept_by_fdr(BH_1995, 0.05).sum() == 4
    rng = np.random.default_rng(3)
    for _ in range(50):
        p = rng.beta(0.5, 3, 40)
        assert (kept_by_fdr(p, 0.05) == multipletests(p, 0.05, method="fdr_bh")[0]).all()
    assert kept_by_fdr([np.nan, 0.001], 0.05).tolist() == [False, True]


def test_shares_add_up_to_no_more_than_the_page_states():
    assert sum(SHARES.values()) <= PAGE_RATE + 1e-12
