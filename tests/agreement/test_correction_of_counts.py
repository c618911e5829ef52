"""Invented counts from known detection and confusion; the correction has to bring the truth back."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from qckit.agreement import (
    CountRates,
    certify_camera,
    correct_counts,
    match_objects,
    rates_from_counts,
    rates_from_matches,
    read_certificate,
)
from qckit.errors import InputError
from qckit.stages import STAGE_COLUMNS, STAGES
from qckit.tables import check_table

OUTCOMES = (*STAGES, "missed")
COLUMNS = list(STAGE_COLUMNS.values())
TRUE = np.array(
    [
        [0.95, 0.005, 0.005, 0.01, 0.03],
        [0.06, 0.88, 0.02, 0.01, 0.03],
        [0.003, 0.012, 0.945, 0.02, 0.02],
        [0.01, 0.005, 0.03, 0.895, 0.06],
    ]
)
SIZE = (60, 8, 30, 40)


def one_photo(rng, *, concentration=80, false=0.4, size=SIZE):
    """Counts of one photo: what is there, the table of outcomes, the false finds."""
    n = rng.poisson(size)
    table = np.array([rng.multinomial(n[i], rng.dirichlet(TRUE[i] * concentration)) for i in range(4)])
    return n, table, rng.poisson(false, 4)


def checked(rng, photos, **kwargs):
    """Matches of a check, as match_objects returns them."""
    rows = []
    for k in range(photos):
        _, table, false = one_photo(rng, **kwargs)
        rows += [(f"p{k}", STAGES[i], OUTCOMES[j]) for i in range(4) for j in range(5) for _ in range(table[i, j])]
        rows += [(f"p{k}", "none", STAGES[j]) for j in range(4) for _ in range(false[j])]
    return pd.DataFrame(rows, columns=["photo", "hand", "photo_stage"])


def counted(rng, photos, **kwargs):
    """Photo counts of a sample, and what is really there."""
    seen, true = [], np.zeros(4)
    for _ in range(photos):
        n, table, false = one_photo(rng, **kwargs)
        seen.append(table[:, :4].sum(axis=0) + false)
        true += n
    return pd.DataFrame(seen, columns=COLUMNS), true


@pytest.mark.slow
def test_95_percent_intervals_cover_the_truth_93_to_97_times_in_100():
    rng = np.random.default_rng(8)
    hits = []
    for seed in range(300):
        rates = rates_from_matches(checked(rng, 12))
        photos, true = counted(rng, 4)
        got = correct_counts(photos, rates, seed=seed)
        hatch = 100 * true[0] / true[:3].sum()
        hits.append(
            [
                *(got.low[s] <= true[i] <= got.high[s] for i, s in enumerate(STAGES)),
                got.hatch_pct_low <= hatch <= got.hatch_pct_high,
            ]
        )
    share = np.mean(hits, axis=0)
    assert 0.93 <= share.mean() <= 0.97, share
    # one figure from 300 runs has a standard error of 1.3 points
    assert (share > 0.91).all() and (share < 0.99).all(), share


def test_the_correction_takes_the_bias_away():
    rng = np.random.default_rng(2)
    rates = rates_from_matches(checked(rng, 40))
    raw, mended = [], []
    for _ in range(60):
        photos, true = counted(rng, 6)
        got = correct_counts(photos, rates)
        raw.append([got.counted[s] / true[i] for i, s in enumerate(STAGES)])
        mended.append([got.counts[s] / true[i] for i, s in enumerate(STAGES)])
    assert np.mean(raw, axis=0)[0] == pytest.approx(0.96, abs=0.02)
    # what is left is the chance of one check of 40 photos: about 2,400 nauplii and 320 umbrella stages
    assert np.abs(np.mean(mended, axis=0) - 1).max() < 0.05
    assert abs(np.mean(mended, axis=0)[0] - 1) < 0.02


def test_more_photos_checked_give_narrower_bounds():
    rng = np.random.default_rng(5)
    photos, _ = counted(rng, 4)
    few, many = (correct_counts(photos, rates_from_matches(checked(rng, n))) for n in (4, 60))
    assert many.high["nauplius"] - many.low["nauplius"] < few.high["nauplius"] - few.low["nauplius"]


def test_a_perfect_check_leaves_the_counts_as_they_are():
    rows = [(f"p{k}", s, s) for k in range(10) for s in STAGES for _ in range(50)]
    rates = rates_from_matches(pd.DataFrame(rows, columns=["photo", "hand", "photo_stage"]))
    got = correct_counts({"nauplius": 100, "umbrella": 5, "cyst": 20, "shell": 80}, rates)
    assert got.counts == dict.fromkeys(STAGES, 0) | {"nauplius": 100, "umbrella": 5, "cyst": 20, "shell": 80}
    assert got.low["nauplius"] <= 100 <= got.high["nauplius"]
    assert got.hatch_pct == pytest.approx(80)
    assert list(got.to_frame().columns) == ["stage", "counted", "corrected", "low", "high"]


def test_totals_alone_find_the_detection_rate():
    rng = np.random.default_rng(6)
    photo, hand = [], []
    for k in range(30):
        mix = rng.dirichlet([4, 1, 3, 4]) * 200
        n, table, _ = one_photo(rng, false=0, size=mix, concentration=400)
        photo.append((f"p{k}", *table[:, :4].sum(axis=0)))
        hand.append((f"p{k}", *n))
    rates = rates_from_counts(*(pd.DataFrame(x, columns=["photo", *COLUMNS]) for x in (photo, hand)))
    assert rates.source == "counts per photo"
    off = np.abs(np.diag(rates.matrix) - np.diag(TRUE))
    # umbrella stages are few in every mix, so totals say less of them
    assert off[[0, 2, 3]].max() < 0.05 and off[1] < 0.12
    again = CountRates.from_json(rates.to_json())
    assert again.matrix == pytest.approx(rates.matrix, abs=1e-4)


def test_objects_are_paired_once_within_reach():
    hand = pd.DataFrame(
        {"photo": "a", "stage": ["nauplius", "cyst", "shell"], "x_px": [10, 50, 90], "y_px": [10, 10, 10]}
    )
    found = pd.DataFrame(
        {
            "photo": "a",
            "stage": ["cyst", "nauplius", "debris", "cyst"],
            "x_px": [52, 11, 90, 200],
            "y_px": [10, 10, 10, 10],
        }
    )
    got = match_objects(hand, found, um_per_px=5.0)
    pairs = sorted(zip(got["hand"], got["photo_stage"], strict=True))
    assert pairs == [("cyst", "cyst"), ("nauplius", "nauplius"), ("none", "cyst"), ("shell", "missed")]
    assert match_objects(hand.head(0), found.head(0), um_per_px=5.0).empty


def paired_totals(rng, photos):
    seen, true = [], []
    for k in range(photos):
        n, table, false = one_photo(rng)
        seen.append((f"p{k}", *(table[:, :4].sum(axis=0) + false)))
        true.append((f"p{k}", *n))
    return (pd.DataFrame(x, columns=["photo", *COLUMNS]) for x in (seen, true))


def test_certificate_goes_through_the_log_table_and_back():
    rng = np.random.default_rng(3)
    photo, hand = paired_totals(rng, 12)
    made = certify_camera(
        photo,
        hand,
        camera="stereo left",
        magnification="2x",
        made_at="2026-11-04T09:00:00+00:00",
        made_by="op1",
        counter_version="1",
        matches=checked(rng, 12),
    )
    made = replace(made, kind="bright field")
    assert made.valid_until == "2027-05-05"
    assert "12 photos" in made.sentences[0]
    row = check_table(made.to_frame(), "certificates").iloc[0]
    again = read_certificate(row)
    assert again.sentences == made.sentences
    assert again.rates.table == pytest.approx(made.rates.table)
    counts = {"nauplius": 50, "umbrella": 3, "cyst": 20, "shell": 30}
    assert correct_counts(counts, again.rates).low == pytest.approx(correct_counts(counts, made.rates).low, rel=1e-3)


def test_a_camera_that_counts_badly_is_called_unfit():
    photo, hand = paired_totals(np.random.default_rng(3), 12)
    given = {"camera": "phone", "made_at": "2026-11-04T09:00:00+00:00", "made_by": "op1"}
    assert certify_camera(photo, hand, **given).sentences[-2] == "Fit for use within these limits of agreement."
    bad = photo.assign(nauplii=photo["nauplii"] // 2, shells=photo["shells"] + photo["nauplii"] // 2)
    words = certify_camera(bad, hand, **given).sentences[-2]
    assert words.startswith("Not fit for use as it is: H% is off by ")
    assert "nauplii where 100 are counted by hand (limit 10 off)" in words


def test_a_small_check_is_due_again_sooner():
    photo, hand = paired_totals(np.random.default_rng(3), 4)
    made = certify_camera(photo, hand, camera="phone", made_at="2026-11-04T09:00:00+00:00", made_by="op1")
    assert made.valid_until == "2027-02-03"
    assert "early because the check is small" in made.sentences[-1]


def test_names_that_do_not_meet_are_said():
    photo, hand = paired_totals(np.random.default_rng(3), 4)
    with pytest.raises(InputError) as error:
        certify_camera(
            photo,
            hand.assign(photo=hand["photo"] + ".jpg"),
            camera="phone",
            made_by="op1",
            made_at="2026-11-04T09:00:00+00:00",
        )
    assert str(error.value) == (
        "0 photo(s) counted both ways for camera phone; at least 3 are needed, 10 are better. Names by the kit: p0, "
        "p1, p2 and 1 more; by hand: p0.jpg, p1.jpg, p2.jpg and 1 more. Use the same names."
    )


def test_wrong_counts_are_refused():
    rates = rates_from_matches(checked(np.random.default_rng(1), 5))
    with pytest.raises(InputError) as error:
        correct_counts({"nauplius": -1}, rates)
    assert str(error.value) == (
        "every photo needs a count of 0 or more for each stage, to be corrected. Leave out photos that were "
        "not counted."
    )


def test_a_check_of_three_photos_corrects_without_failing():
    """Some of its draws find a stage never, and cannot be solved for how many there are."""
    rng = np.random.default_rng(1)
    for seed in range(30):
        true = rng.poisson(np.array([40, 1, 20, 30]), (3, 4))
        names = ["nauplii", "umbrella", "cysts", "shells"]
        frames = [
            pd.DataFrame(a, columns=names).assign(photo=list("abc"))
            for a in (rng.binomial(true, [0.95, 0.5, 0.9, 0.9]), true)
        ]
        made = correct_counts(frames[0], rates_from_counts(*frames, n_draws=200, seed=seed))
        assert np.isfinite([made.hatch_pct_low, made.hatch_pct_high]).all()
