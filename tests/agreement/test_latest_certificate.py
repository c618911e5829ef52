"""Which certificate speaks for which photos, on invented certificates."""

import numpy as np
import pandas as pd
import pytest

from qckit.agreement import (
    camera_of,
    certify_camera,
    correct_counts,
    latest_certificate,
    match_objects,
    newest_certificates,
)
from qckit.reports.accuracy import show_certificate
from qckit.stages import STAGE_COLUMNS
from qckit.tables import check_table, empty_table

PHOTOS = pd.DataFrame({"photo": ["x.jpg", "y.jpg"], "um_per_px": [6.2, 6.21], "counter_version": "1.0"})
SCALES = pd.DataFrame(
    {"camera": ["stereo", "stereo", "phone"], "magnification": ["2x", "4x", ""], "um_per_px": [6.2, 3.1, 12.4]}
)


def certificate(
    made_at="2026-09-01T09:00:00+00:00", camera="stereo", magnification="2x", version="1.0", photos=12, by_object=True
):
    rng = np.random.default_rng(3)
    hand, found = [], []
    for k in range(photos):
        n = 60
        places = rng.uniform(0, 9000, (n, 2))
        stages = rng.choice(["nauplius", "umbrella", "cyst", "shell"], n, p=[0.5, 0.1, 0.25, 0.15])
        one = pd.DataFrame({"photo": f"p{k}", "stage": stages, "x_px": places[:, 0], "y_px": places[:, 1]})
        hand.append(one)
        found.append(one[rng.random(n) > 0.05])
    matches = match_objects(pd.concat(hand), pd.concat(found), um_per_px=5.0)

    def totals(parts):
        whole = pd.concat(parts)
        table = pd.crosstab(whole["photo"], whole["stage"]).rename(columns=STAGE_COLUMNS)
        return table.reset_index()

    made = certify_camera(
        totals(found),
        totals(hand),
        camera=camera,
        magnification=magnification,
        made_at=made_at,
        made_by="ab",
        counter_version=version,
        matches=matches if by_object else None,
    )
    return check_table(made.to_frame(), "certificates")


def test_the_newest_certificate_of_the_photos_camera_is_cited_with_its_figures():
    both = pd.concat([certificate(), certificate("2026-10-01T09:00:00+00:00"), certificate(camera="phone")])
    use = latest_certificate(both, now="2026-11-04T09:00:00+00:00", photos=PHOTOS, scales=SCALES)
    assert use.holds
    assert use.certificate.name == "stereo 2x 2026-10-01"
    assert use.sentence.startswith(
        "Certificate stereo 2x 2026-10-01: 12 photos counted by the kit and by eye (ab). It finds and calls right 9"
    )
    assert use.sentence.endswith(" points. Check again by 2027-04-01.")
    share, low, high = use.detection["nauplius"]
    assert low < 0.95 < high and low < share < high
    assert use.detection_u["nauplius"] == pytest.approx((high - low) / 3.92 / share, rel=1e-3)
    counts = {"nauplius": 100, "umbrella": 5, "cyst": 20, "shell": 30}
    got = use.correct(counts)
    assert got == correct_counts(counts, use.certificate.rates)
    assert got.counts["nauplius"] > 100


def test_totals_are_cited_as_totals():
    """Of totals it is not known which animals were missed: the share is that of the sums, and no stage is 'found'."""
    use = latest_certificate(certificate(by_object=False), now="2026-11-04", photos=PHOTOS, scales=SCALES)
    made = use.certificate
    assert use.holds and use.detection == {}
    pct, low, high = made.totals_pct["nauplius"]
    assert low < pct < high and pct == pytest.approx(95, abs=3)
    assert f"(ab). It counts {pct:.0f} ({low:.0f} to {high:.0f}) nauplii and " in use.sentence
    assert " cysts where 100 are there; H% is " in use.sentence
    shown = show_certificate(use).html
    assert "counted by the kit where 100 are counted by eye" in shown and "found and called so" not in shown
    assert "found and called so" in show_certificate(latest_certificate(certificate(), now="2026-11-04")).html


def test_a_certificate_past_its_date_or_of_another_counter_is_cited_and_not_used():
    late = latest_certificate(certificate(), now="2027-06-01", photos=PHOTOS, scales=SCALES)
    assert not late.holds and late.correct({"nauplius": 1}) is None
    assert late.sentence.endswith(
        "It was to be checked again by 2027-03-02, so counts are not corrected by it: count "
        "photos by eye again and run  qckit camera check"
    )
    other = latest_certificate(certificate(version="0.9"), now="2026-11-04", photos=PHOTOS, scales=SCALES)
    assert not other.holds
    assert other.sentence.endswith(
        "It was made with counter 0.9 and these photos were counted with 1.0, so counts are "
        "not corrected by it: run  qckit camera check  again."
    )


def test_what_is_missing_is_said():
    nothing = latest_certificate(empty_table("certificates"), now="2026-11-04", photos=PHOTOS, scales=SCALES)
    assert nothing.certificate is None and nothing.detection_u == {}
    assert nothing.sentence == (
        "Nobody has checked this site's photo counts against counts by eye, so how many animals the kit misses or "
        "mistakes is not known. Count ten photos by eye and run  qckit camera check."
    )
    fine = PHOTOS.assign(um_per_px=3.1)
    unchecked = latest_certificate(certificate(), now="2026-11-04", photos=fine, scales=SCALES)
    assert unchecked.sentence.startswith("Photo counts of the camera stereo 4x have not been checked against counts")
    odd = PHOTOS.assign(um_per_px=8.0)
    two = pd.concat([certificate(), certificate(camera="phone")])
    assert latest_certificate(two, now="2026-11-04", photos=odd, scales=SCALES).sentence == (
        "There are certificates for phone, stereo, and nothing tells which camera took these photos: keep each "
        "camera's scale with  qckit camera scale."
    )


def test_a_site_with_one_camera_needs_no_scale_kept():
    use = latest_certificate(certificate(), now="2026-11-04", photos=PHOTOS, scales=empty_table("scales"))
    assert use.holds


def test_photos_go_to_the_camera_whose_scale_they_have():
    assert camera_of([6.2, 6.25], SCALES) == ("stereo", "2x")
    assert camera_of([6.2, 3.1], SCALES) is None
    assert camera_of([], SCALES) is None
    assert camera_of([6.2], pd.concat([SCALES, SCALES.assign(camera="other")])) is None


def spoilt(made_at):
    """A check in which one photo's nauplii were typed tenfold."""
    hand = pd.DataFrame({"photo": [f"p{k}" for k in range(8)], "nauplii": 40, "umbrella": 2, "cysts": 20, "shells": 30})
    typed = hand.assign(nauplii=[400, *[40] * 7])
    made = certify_camera(
        hand, typed, camera="stereo", magnification="2x", made_at=made_at, made_by="ab", counter_version="1.0"
    )
    assert made.fitness == "spoilt"
    return check_table(made.to_frame(), "certificates")


def test_a_sound_certificate_wins_over_a_newer_one_that_a_single_count_spoils():
    newer = "2026-10-20T09:00:00+00:00"
    use = latest_certificate(pd.concat([certificate(), spoilt(newer)]), now="2026-11-04", photos=PHOTOS, scales=SCALES)
    assert use.holds and use.certificate.name == "stereo 2x 2026-09-01"
    assert use.sentence.endswith(
        "Check again by 2027-03-02. The newer certificate stereo 2x 2026-10-20 is left aside: single counts decide it."
    )
    alone = latest_certificate(spoilt(newer), now="2026-11-04", photos=PHOTOS, scales=SCALES)
    assert not alone.holds and "Single counts decide it, so counts are not corrected by it" in alone.sentence


def test_a_check_of_few_photos_corrects_nothing_and_yields_to_a_larger_one():
    few = certificate("2026-10-20T09:00:00+00:00", photos=5)
    alone = latest_certificate(few, now="2026-11-04", photos=PHOTOS, scales=SCALES)
    assert not alone.holds and alone.correct({"nauplius": 1}) is None
    assert alone.sentence.endswith(
        "Corrected by a check of 5 photos, later hatching percentages would be uncertain by about ten points or more, "
        "so counts are not corrected by it: count more photos by eye and run  qckit camera check  again."
    )
    use = latest_certificate(pd.concat([certificate(), few]), now="2026-11-04", photos=PHOTOS, scales=SCALES)
    assert use.holds and use.certificate.name == "stereo 2x 2026-09-01"
    assert "The newer certificate stereo 2x 2026-10-20 is left aside: corrected by a check of 5" in use.sentence


def test_a_certificate_of_the_counter_in_use_is_listed_before_a_newer_one_of_another():
    table = pd.DataFrame(
        {"camera": ["M", "M", "N"], "magnification": "2x", "kind": "", "counter_version": ["1.15", "1.14", None]}
    ).assign(valid_until=["2026-01-01", "2027-02-01", None])
    newest = newest_certificates(table, counter_version="1.15", today="2026-11-06")
    assert newest["camera"].tolist() == ["M", "N"] and newest["is_of_counter"].all()
    assert newest["is_late"].tolist() == [True, False]  # one without a date is checked again when people choose to
    of_next = newest_certificates(table, counter_version="1.16", today="2026-11-06")
    assert of_next["is_of_counter"].tolist() == [False, True]
    assert of_next["counter_version"].tolist()[0] == "1.14"  # the newest of those of other counters
