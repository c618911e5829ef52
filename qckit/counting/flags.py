"""Flags: when a count should not be taken on trust, said in a sentence with what to do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.result import Flag
from qckit.tables import STAGES

__all__ = ["FLAG_CODES", "PhotoSigns", "judge_photo"]

FLAG_CODES = ("dark", "bright", "blurred", "crowded", "clumps", "scale", "few", "unsure", "unlike", "readers")

CYST_UM = (165.0, 430.0)  # hydrated cysts of all strains measured lie in 224-330 µm
NAUPLIUS_UM = (280.0, 1000.0)  # instar I to III, limbs left out
BODY_WIDTH_UM = (110.0, 380.0)
BLURRED_UM = 95.0
CLUMPED_SHARE = 0.06
DOUBTED = 0.105  # mean chance that an object's stage is wrong
DIFFERING = 0.25  # share of objects on which the two readers differ
STRANGE = 1.6  # times the usual distance between photos checked


@dataclass(frozen=True)
class PhotoSigns:
    """Figures a photo is judged by.

    Attributes
    ----------
    white_share, black_share : float
        Share of pixels at the upper and the lower end of the range.
    contrast : float
        Typical contrast of objects. [scatters of the background]
    covered_share : float
        Share of the photo covered by bodies.
    clump_share : float
        Share of objects in patches of more than five.
    stages : (n,) ndarray of int
        Stage of each object, debris left out.
    p_best : (n,) ndarray
        Probability of that stage, times that of being one object.
    length_um, width_um : (n,) ndarray
    clump_objects : float
        About how many objects lie in clumps in which none could be told apart, from the clumps' area.
    strangeness : float
        Median distance of the objects' features from those checked. [1 is usual]
    edge_width_um : float
        How far an object's outline is smeared; NaN without objects.
    reader_share : float
        Share of objects on which the two readers differ; NaN without second reader.
    """

    white_share: float
    black_share: float
    contrast: float
    covered_share: float
    clump_share: float
    stages: np.ndarray
    p_best: np.ndarray
    length_um: np.ndarray
    body_width_um: float = float("nan")
    clump_objects: float = 0.0
    strangeness: float = 0.0
    edge_width_um: float = float("nan")
    reader_share: float = float("nan")


def judge_photo(signs: PhotoSigns) -> tuple[Flag, ...]:
    """Flag a photo.

    Parameters
    ----------
    signs : PhotoSigns

    Returns
    -------
    tuple of Flag
        Empty when nothing speaks against the count.
    """
    flags = [*_light_flags(signs), *_object_flags(signs), *_trust_flags(signs)]
    return tuple(flags)


def _light_flags(signs: PhotoSigns):
    if signs.white_share > 0.25:
        yield Flag("bright", f"{100 * signs.white_share:.0f} % of the photo is burnt out to white, where pale shells "
                             f"vanish: shorten the exposure and take it again.")  # fmt: skip
    if signs.black_share > 0.9 and signs.contrast < 8:
        yield Flag("dark", "Nearly all of the photo is black and what shows is faint: lengthen the exposure or add "
                           "light and take it again.")  # fmt: skip
    if signs.edge_width_um > BLURRED_UM:
        yield Flag("blurred", f"Outlines are smeared over {signs.edge_width_um:.0f} µm: focus on the animals and take "
                              f"the photo again.")  # fmt: skip


def _object_flags(signs: PhotoSigns):
    n = len(signs.stages)
    full = int((signs.stages < 3).sum())
    if full < 10:
        yield Flag("few", f"Only {full} nauplii, umbrella stages and cysts were found, too few for a percentage: count "
                          f"more photos of this sample.")  # fmt: skip
    if n >= 10 and (signs.clump_share > 0.35 or signs.covered_share > 0.35):
        yield Flag("crowded", f"{100 * signs.clump_share:.0f} % of the objects lie in clumps: dilute the sample and "
                              f"take the photo again.")  # fmt: skip
    if signs.clump_objects > max(2.0, CLUMPED_SHARE * n):
        low, high = signs.clump_objects / 1.5, signs.clump_objects * 1.5
        yield Flag("clumps", f"By their area about {low:.0f} to {high:.0f} more objects lie in clumps that could not "
                             f"be told apart: spread or dilute the sample, or count those by hand.")  # fmt: skip
    yield from _scale_flag(signs)


def _scale_flag(signs: PhotoSigns):
    """Sizes that no brine shrimp has: the scale is wrong, or these are other things."""
    for stage, (low, high), name in ((2, CYST_UM, "cysts"), (0, NAUPLIUS_UM, "nauplii")):
        sizes = signs.length_um[(signs.stages == stage) & (signs.p_best > 0.6)]
        if len(sizes) >= 8 and not low <= np.median(sizes) <= high:
            yield Flag("scale", f"The {name} measure {np.median(sizes):.0f} µm, and {low:.0f} to {high:.0f} µm is "
                                "usual: "
                                f"check the µm per pixel.")  # fmt: skip
            return
    low, high = BODY_WIDTH_UM
    if not np.isnan(signs.body_width_um) and not low <= signs.body_width_um <= high:
        yield Flag("scale", f"What lies alone in the photo is {signs.body_width_um:.0f} µm wide, and nauplii, cysts "
                            "and "
                            f"shells are {low:.0f} to {high:.0f}: check the µm per pixel.")  # fmt: skip


def _trust_flags(signs: PhotoSigns):
    n = len(signs.stages)
    doubt = float(np.mean(1 - signs.p_best)) if n else 0.0
    if n >= 5 and doubt > DOUBTED:
        yield Flag("unsure", f"About {100 * doubt:.0f} % of the objects may be given the wrong stage or be split "
                             f"wrongly: look at the checked picture and correct it by hand.")  # fmt: skip
    if signs.strangeness > STRANGE:
        yield Flag("unlike", "The photo looks unlike those the counter was checked on: compare a few photos of this "
                             "kind with hand counts before trusting it.")  # fmt: skip
    if signs.reader_share > DIFFERING:
        yield Flag("readers", f"The two ways of reading the photo differ on {100 * signs.reader_share:.0f} % of the "
                              f"objects: look at the checked picture and correct it by hand.")  # fmt: skip


def stage_codes(names) -> np.ndarray:
    """Index of each stage name in ``STAGES``."""
    return np.array([STAGES.index(s) for s in names], int)
