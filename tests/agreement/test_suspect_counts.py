"""A check of a camera names the count that spoils it, and says no more than few photos or mere totals can show."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from qckit.agreement import certify_camera
from qckit.agreement.misplaced import find_misplaced
from qckit.agreement.suspects import find_exchanged, find_suspects, say_suspect

COLUMNS = ["nauplii", "umbrella", "cysts", "shells"]


def counts_both_ways(rng, n):
    """Counts of n photos by the kit and by eye that agree but for chance."""
    true = pd.DataFrame(rng.poisson([60, 4, 15, 50], (n, 4)), columns=COLUMNS)
    names = [f"p{i}.jpg" for i in range(n)]
    kit = true.apply(lambda c: rng.binomial(c, 0.98)).assign(photo=names)
    return kit, true.assign(photo=names)


def certify(kit, eye):
    return certify_camera(kit, eye, camera="stereo", made_at="2026-11-05T10:00:00+00:00", made_by="op1")


@pytest.mark.parametrize("n", [3, 6, 12])
def test_a_count_typed_tenfold_is_named_and_nothing_is_judged(n):
    kit, eye = counts_both_ways(np.random.default_rng(n), n)
    right = int(eye.loc[1, "nauplii"])
    eye.loc[1, "nauplii"] = 10 * right
    made = certify(kit, eye)
    assert made.fitness == "spoilt"
    assert (made.suspects[0].photo, made.suspects[0].column, made.suspects[0].slip) == ("p1.jpg", "nauplii", 10.0)
    assert made.sentences[0] == say_suspect(made.suspects[0])
    assert "A slip of a digit would explain it" in made.sentences[0]
    assert not any("Not fit" in line or "Fit for" in line for line in made.sentences)


def test_counts_that_agree_but_for_chance_are_seldom_suspected():
    rng = np.random.default_rng(4)
    named = [bool(find_suspects(k["photo"], k, e)) for k, e in (counts_both_ways(rng, 8) for _ in range(300))]
    assert np.mean(named) < 0.01


def test_a_camera_that_misses_everywhere_is_no_slip():
    kit, eye = counts_both_ways(np.random.default_rng(5), 8)
    kit["cysts"] = (0.3 * kit["cysts"]).astype(int)  # too many called something else: H% is off
    made = certify(kit, eye)
    assert made.suspects == ()
    assert made.fitness == "not fit"


def test_few_photos_are_not_enough_to_call_a_camera_fit():
    kit, eye = counts_both_ways(np.random.default_rng(6), 4)
    assert certify(kit, eye).fitness == "too few"
    kit, eye = counts_both_ways(np.random.default_rng(6), 8)
    assert certify(kit, eye).fitness == "fit"


def test_limits_for_a_single_photo_are_students_prediction_limits():
    """Hahn and Meeker 1991, Statistical Intervals, section 4.7 (from memory): mean +- t s sqrt(1 + 1/n)."""
    kit, eye = counts_both_ways(np.random.default_rng(7), 6)
    row = certify(kit, eye).agreement.set_index("figure").loc["hatch_pct"]

    def pct(f):
        return 100 * f["nauplii"] / (f["nauplii"] + f["umbrella"] + f["cysts"])

    d = pct(kit) - pct(eye)
    low, high = stats.t.interval(0.95, 5, loc=d.mean(), scale=d.std(ddof=1) * np.sqrt(1 + 1 / 6))
    assert (row["limit_low"], row["limit_high"]) == pytest.approx((low, high))


def test_totals_alone_are_not_told_as_what_became_of_each_stage():
    made = certify(*counts_both_ways(np.random.default_rng(8), 8))
    assert not any("% found" in line for line in made.sentences)
    assert any("cannot be told from totals" in line for line in made.sentences)


def test_two_columns_typed_the_other_way_round_are_named_and_no_camera_is_blamed():
    kit, eye = counts_both_ways(np.random.default_rng(7), 6)
    eye[["cysts", "shells"]] = eye[["shells", "cysts"]].to_numpy()
    made = certify(kit, eye)
    assert made.fitness == "spoilt" and made.suspects == ()
    assert "where cysts and shells are exchanged" in made.sentences[0]
    assert not any("Not fit" in line or "lamp" in line for line in made.sentences)


@pytest.mark.parametrize("share", [0.2, 0.5])
def test_a_camera_that_takes_some_of_each_for_the_other_is_not_called_exchanged(share):
    kit, eye = counts_both_ways(np.random.default_rng(8), 6)
    rng = np.random.default_rng(9)
    to_shells, to_cysts = rng.binomial(kit["cysts"], share), rng.binomial(kit["shells"], share)
    kit["cysts"], kit["shells"] = kit["cysts"] - to_shells + to_cysts, kit["shells"] - to_cysts + to_shells
    assert find_exchanged(kit, eye) is None
    assert certify(kit, eye).fitness == "not fit"


def unlike_photos(rng, n):
    """As ``counts_both_ways``, of photos that differ in how much of each stage lies in them."""
    true = pd.DataFrame(rng.poisson([60, 4, 15, 50] * rng.lognormal(0, 0.5, (n, 4))), columns=COLUMNS)
    names = [f"p{i}.jpg" for i in range(n)]
    return true.apply(lambda c: rng.binomial(c, 0.96)).assign(photo=names), true.assign(photo=names)


@pytest.mark.parametrize("n", [3, 6, 12])
def test_two_photos_whose_rows_are_exchanged_are_named(n):
    named = 0
    for seed in range(20):
        kit, eye = unlike_photos(np.random.default_rng(seed), n)
        eye.loc[[0, 2], COLUMNS] = eye.loc[[2, 0], COLUMNS].to_numpy()
        made = certify(kit, eye)
        if made.misplaced:
            named += 1
            assert made.misplaced == (("p0.jpg", "p2.jpg"),) and made.fitness == "spoilt"
            assert made.sentences[0].startswith("The counts by eye of p0.jpg and p2.jpg fit each other's photo clearly")
            assert not any("Fit for" in line or "Not fit" in line for line in made.sentences)
    assert named >= 19  # photos that are alike cannot be told, and need not be


def test_rows_that_all_slipped_by_one_are_named_as_one_round():
    kit, eye = unlike_photos(np.random.default_rng(3), 8)
    eye[COLUMNS] = np.roll(eye[COLUMNS].to_numpy(), 1, axis=0)
    made = certify(kit, eye)
    (names,) = made.misplaced  # a row that is alike another one may stand
    assert len(names) >= 6 and "fit the next photo of this list" in made.sentences[0]
    numbers = [int(name[1]) for name in names]
    assert sum((b - a) % 8 == 7 for a, b in zip(numbers, numbers[1:] + numbers[:1], strict=True)) >= len(names) - 1


@pytest.mark.parametrize(("miss", "mixed"), [(0.02, 0.0), (0.1, 0.0), (0.1, 0.2)])
def test_rows_at_their_own_photos_are_not_called_exchanged(miss, mixed):
    """Cameras good and bad: some objects missed, more in one photo than in another, some cysts taken for shells."""
    rng, named = np.random.default_rng(11), 0
    for k in range(300):
        n = (3, 6, 12)[k % 3]
        true = rng.poisson([60, 4, 15, 50] * rng.lognormal(0, 0.5, (n, 4)))
        kit = rng.binomial(true, np.clip((1 - miss) * np.exp(miss * rng.normal(size=(n, 4))), 0, 1))
        moved = rng.binomial(kit[:, 2], mixed)
        kit[:, 2:] += np.stack([-moved, moved], axis=1)
        named += bool(find_misplaced(range(n), *(pd.DataFrame(a, columns=COLUMNS) for a in (kit, true))))
    assert named == 0
