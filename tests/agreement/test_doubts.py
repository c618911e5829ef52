"""Doubts about stages as an uncertainty of a test's counts, where no camera was checked by eye."""

import numpy as np
import pandas as pd
import pytest

from qckit.agreement import doubts_of_stages
from qckit.agreement.doubts import SHARE
from qckit.stages import CLASSES


def objects(p, stages, **more):
    frame = pd.DataFrame(p, columns=[f"p_{s}" for s in CLASSES]).assign(stage=stages, counted=True, source="found")
    return frame.assign(**more)


def test_the_doubts_of_a_stage_are_added_up_both_ways():
    """Two nauplii doubted by 0.1 and 0.2, and a cyst that may be a nauplius by 0.4: 0.7 of 2 nauplii."""
    p = [[0.9, 0, 0.1, 0, 0], [0.8, 0.2, 0, 0, 0], [0.4, 0, 0.6, 0, 0]]
    got = doubts_of_stages(objects(p, ["nauplius", "nauplius", "cyst"]))
    assert got["nauplius"] == pytest.approx(SHARE * (0.1 + 0.2 + 0.4) / 2)
    assert got["cyst"] == pytest.approx(SHARE * (0.4 + 0.1) / 1)


def test_what_a_person_settled_or_does_not_count_brings_no_doubt():
    p = [[0.9, 0, 0.1, 0, 0], [0.5, 0, 0.5, 0, 0], [0.6, 0, 0.4, 0, 0], [np.nan] * 5]
    frame = objects(p, ["nauplius"] * 4, source=["found", "stage changed by hand", "found", "added by hand"])
    frame.loc[2, "counted"] = False
    got = doubts_of_stages(frame)
    assert got == {"nauplius": pytest.approx(SHARE * 0.1 / 3)}
    assert doubts_of_stages(frame.head(0)) == {}
