"""Flags: when a count should not be taken on trust, said in a sentence with what to do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qckit.counting.result import WITHHELD, Flag
from qckit.counting.swing import OFF_POINTS, off_chance
from qckit.robust import median_of
from qckit.stages import STAGES

__all__ = ["FLAG_CODES", "WITHHELD", "PhotoSigns", "judge_photo"]

FLAG_CODES = (
    "dark",
    "bright",
    "blurred",
    "crowded",
    "clumps",
    "scale",
    "few",
    "foreign",
    "finding",
    "unsure",
    "groups",
    "unlike",
    "readers",
    "alone",
    "damaged",
    "weave",  # these two where counts enter the log, which knows what a photo is of: review/photo_kinds.py
    "squares",
)

UNLIKE_SENTENCE = (
    "The photo looks unlike those the counter was checked on: compare a few photos of this kind with hand counts "
    "before trusting it."
)

CYST_UM = (165.0, 430.0)  # hydrated cysts of all strains measured lie in 224-330 µm
NAUPLIUS_UM = (280.0, 1000.0)  # instar I to III, limbs left out
BODY_WIDTH_UM = (125.0, 320.0)  # 158 to 266 on the open photos at their true scale
FAINT = 5.0  # scatters of the background; counts still held at 5.5
SOFT_UM, BLURRED_UM = 95.0, 165.0  # soft outlines are named where the percentage is in doubt, blurred ones always
CLUMPED_SHARE = 0.06
IN_CLUMPS, COVERED = 0.45, 0.35  # share of the objects, and of the photo
# the next four by one rule, over makes together: an error of over 5 points left unsaid weighs ten needless flags
OFF_CHANCE = 0.07
SHIFT = 4.0  # points by which the two groups of round bodies move it from what was read
FEWEST_JUDGED = 5  # objects: of fewer no doubt is worth a word
SURE, FEWEST_SURE = 0.6, 3  # chance of the stage from which an object is sure; of N, U and C in a hatch sample
FEW = 10  # nauplii, umbrella stages and cysts: fewer give no percentage to go by
DOUBTFUL_OF, LIKELIER_OTHER = 20, 0.5  # of fewer such bodies, most likelier something else than what they are called
SURE_TO_BE_THERE = 5  # among these, so many that are surely a body, of whatever stage, make it a hatch sample still
OTHER_THINGS = 2.0  # beside few of them, so many times the sure objects found in clumps that are none: other things
SURE_BODIES = 15  # so many sure objects speak for the scale
BETWEEN = 0.15  # share of cysts and shells that are neither clearly
DOUBTED = 0.3  # mean chance that an object is given the wrong stage or is split wrongly: a photo of another world
MISTAKEN, FEWEST_FOUND = 0.12, 10  # share of nauplii invented or missed, and of how many objects at least
DIFFERING = 0.4  # share of objects on which the reader and the measures differ
FAMILIAR = 0.8  # the measured stages are right in light as they were learnt in, and say nothing in other light
STRANGE = 2.5  # times the usual distance between photos checked


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
    p_body : (n,) ndarray
        Probability of any stage, times that of being one object: doubts about stages take nothing from it.
    length_um : (n,) ndarray
    swing : float
        From ``swing.hatch_swing`` and ``swing.finding_swing``, at right angles.
    shift : float
        From ``swing.hatch_shift``.
    body_width_um : float
        Width of what lies alone, whatever it was taken for; NaN where too little does.
    clump_objects : float
        About how many objects lie in clumps in which none could be told apart, from the clumps' area.
    strangeness : float
        Median distance of the objects' features from those checked. [1 is usual]
    edge_width_um : float
        How far an object's outline is smeared; NaN without objects.
    differing_share : float
        Share of objects on which the reader and the measures differ; NaN where too few were seen to tell.
    without_reader : bool
        The reader was left out, or could not be run.
    by_measures : bool
        Stages rest on how measured objects look: by the kit's own measures alone, or by what a site's camera learned.
    invented_nauplii, missed_nauplii : float
        Nauplii expected to be none, and expected to have been missed.
    between : float
        Share of cysts and shells whose opacity is neither clearly the one's nor the other's; 0 where there are few.
    paler_cysts : int
        From :func:`qckit.counting.shells.pale_cysts.paler_cysts`.
    in_frame : int, optional
        Nauplii, umbrella stages and cysts counted in a drawn frame; None where the whole photo is the frame.
    """

    white_share: float
    black_share: float
    contrast: float
    covered_share: float
    clump_share: float
    stages: np.ndarray
    p_best: np.ndarray
    p_body: np.ndarray
    length_um: np.ndarray
    swing: float = 0.0
    shift: float = 0.0
    body_width_um: float = float("nan")
    clump_objects: float = 0.0
    strangeness: float = 0.0
    edge_width_um: float = float("nan")
    differing_share: float = float("nan")
    without_reader: bool = False
    by_measures: bool = False
    invented_nauplii: float = 0.0
    missed_nauplii: float = 0.0
    between: float = 0.0
    paler_cysts: int = 0
    in_frame: int | None = None

    @property
    def sure(self) -> np.ndarray:
        """Which objects are sure."""
        return self.p_best >= SURE

    @property
    def off_chance(self) -> float:
        """The chance that the hatching percentage is off by more than ``OFF_POINTS``."""
        return off_chance(self.swing, self.between)

    @property
    def paler_points(self) -> float:
        """Points by which the hatching percentage would rise, were the paler kind of cysts shells."""
        nauplii, full = (int((self.stages < k).sum()) for k in (1, 3))
        return 100 * nauplii / max(full - self.paler_cysts, 1) - 100 * nauplii / max(full, 1)

    @property
    def is_unsure(self) -> bool:
        """Whether the percentage may be off by more than can be left unsaid."""
        return len(self.stages) >= FEWEST_JUDGED and self.off_chance > OFF_CHANCE


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
    return (*_light_flags(signs), *_object_flags(signs), *_doubt_flags(signs), *_trust_flags(signs))


def _light_flags(signs: PhotoSigns):
    if signs.white_share > 0.25:
        yield Flag(
            "bright",
            f"{100 * signs.white_share:.0f} % of the photo is burnt out to white, where pale shells "
            f"vanish: shorten the exposure and take it again.",
        )
    if signs.black_share > 0.9 and signs.contrast < FAINT:
        yield Flag(
            "dark",
            "Nearly all of the photo is black and what shows is faint: lengthen the exposure or add "
            "light and take it again.",
        )
    if signs.edge_width_um > (SOFT_UM if signs.is_unsure else BLURRED_UM):
        yield Flag(
            "blurred",
            f"Outlines are smeared over {signs.edge_width_um:.0f} µm: focus on the animals and take the photo again.",
        )


def _object_flags(signs: PhotoSigns):
    n = len(signs.stages)
    full, place = int((signs.stages < 3).sum()), "found"
    if signs.in_frame is not None:
        full, place = signs.in_frame, "counted in the drawn frame"
    parted = signs.between <= BETWEEN  # round things that part into no two groups may be anything round
    sure = int((signs.sure & ((signs.stages < 3) if parted else (signs.stages < 2))).sum())
    among_others = (signs.stages < 3).sum() < FEW and signs.clump_objects > OTHER_THINGS * signs.sure.sum()
    if sure < FEWEST_SURE or among_others or _mostly_doubtful(signs):
        what = "nauplii, umbrella stages and cysts" if parted else "nauplii and umbrella stages; cysts cannot be told"
        yield Flag(
            "foreign",
            f"Hardly anything here is brine shrimp for sure ({what}: {sure}): this does "
            f"not look like a hatch sample, and no percentage is given. If it is one, count more photos of it.",
        )
    if full < FEW:
        yield Flag(
            "few",
            f"Only {full} nauplii, umbrella stages and cysts were {place}, too few for a percentage: "
            f"count more photos of this sample.",
        )
    if n >= 10 and (signs.clump_share > IN_CLUMPS or signs.covered_share > COVERED):
        yield Flag(
            "crowded",
            f"{100 * signs.clump_share:.0f} % of the objects lie in clumps: dilute the sample and "
            f"take the photo again.",
        )
    if signs.clump_objects > max(2.0, CLUMPED_SHARE * n):
        low, high = signs.clump_objects / 1.5, signs.clump_objects * 1.5
        yield Flag(
            "clumps",
            f"By their area about {low:.0f} to {high:.0f} more objects lie in clumps that could not "
            f"be told apart: spread or dilute the sample, or count those by hand.",
        )
    yield from _scale_flag(signs)


def _mostly_doubtful(signs: PhotoSigns) -> bool:
    """Whether few bodies were found, most of them likelier something else than what they are called, and hardly any
    surely there: over a mesh true bodies have doubtful stages, while other things are doubted to be bodies at all."""
    full = signs.stages < 3
    few = 0 < full.sum() < DOUBTFUL_OF and (signs.p_body[full] >= SURE).sum() < SURE_TO_BE_THERE
    return bool(few and median_of(signs.p_best[full]) < LIKELIER_OTHER)


def _scale_flag(signs: PhotoSigns):
    """Sizes that no brine shrimp has: the scale is wrong, or these are other things."""
    for stage, (low, high), name in ((2, CYST_UM, "cysts"), (0, NAUPLIUS_UM, "nauplii")):
        sizes = signs.length_um[(signs.stages == stage) & (signs.p_best > 0.6)]
        if len(sizes) >= 8 and not low <= median_of(sizes) <= high:
            yield Flag(
                "scale",
                f"The {name} measure {median_of(sizes):.0f} µm, and {low:.0f} to {high:.0f} µm is "
                "usual: "
                f"check the µm per pixel.",
            )
            return
    low, high = BODY_WIDTH_UM
    if signs.sure.sum() >= max(SURE_BODIES, 0.5 * len(signs.stages)):
        return
    if not np.isnan(signs.body_width_um) and not low <= signs.body_width_um <= high:
        yield Flag(
            "scale",
            f"What lies alone in the photo is {signs.body_width_um:.0f} µm wide, and nauplii, cysts "
            "and "
            f"shells are {low:.0f} to {high:.0f}: check the µm per pixel.",
        )


def _doubt_flags(signs: PhotoSigns):
    """What the counter itself doubts: stages, objects, and the two groups of round bodies."""
    n = len(signs.stages)
    if signs.is_unsure:
        yield Flag(
            "unsure",
            f"Doubts about stages: the hatching percentage is off by more than {OFF_POINTS:.0f} points with a chance "
            f"of about {100 * signs.off_chance:.0f} %: look at the checked picture and correct it by hand.",
        )
    elif n >= FEWEST_JUDGED and np.mean(1 - signs.p_best) > DOUBTED:
        yield Flag(
            "unsure",
            f"About {100 * np.mean(1 - signs.p_best):.0f} % of the objects may be given the wrong stage or be split "
            f"wrongly: look at the checked picture and correct it by hand.",
        )
    n_nauplii = int((signs.stages == STAGES.index("nauplius")).sum())
    if n >= FEWEST_FOUND and signs.invented_nauplii + signs.missed_nauplii > MISTAKEN * max(n_nauplii, FEWEST_JUDGED):
        yield Flag(
            "finding",
            f"Nauplii stand out poorly here: about {signs.invented_nauplii:.0f} of those marked may be none, and about "
            f"{signs.missed_nauplii:.0f} may be missing: look at the checked picture and correct it by hand.",
        )
    if signs.between > BETWEEN:
        yield Flag(
            "groups",
            f"Cysts and empty shells do not part into two groups in this light ({100 * signs.between:.0f} % of them "
            f"lie between): take the photo with light from below, or correct it by hand.",
        )
    elif n >= FEWEST_JUDGED and signs.shift > SHIFT:
        yield Flag(
            "groups",
            f"Cysts and empty shells look otherwise here than they were read, which moves the hatching percentage by "
            f"{signs.shift:.0f} points: look at the checked picture and correct it by hand.",
        )
    elif n >= FEWEST_JUDGED and signs.paler_points > OFF_POINTS:
        yield Flag(
            "groups",
            f"The cysts are of two kinds of darkness, and the {signs.paler_cysts} paler ones are nearer to the shells: "
            f"if those are shells, the hatching percentage is {signs.paler_points:.0f} points higher. Look at them in "
            "the checked picture and correct them by hand.",
        )


def _trust_flags(signs: PhotoSigns):
    """What speaks against the counter: a strange photo, readings that differ, or one of them left away."""
    if signs.by_measures and signs.strangeness > STRANGE:  # says nothing of the trained reader's errors
        yield Flag("unlike", UNLIKE_SENTENCE)
    if signs.differing_share > DIFFERING and signs.strangeness < FAMILIAR:
        yield Flag(
            "readers",
            f"The two ways of reading the photo differ on {100 * signs.differing_share:.0f} % of the "
            f"objects: look at the checked picture and correct it by hand.",
        )
    if signs.without_reader:
        yield Flag(
            "alone",
            "Counted without the trained reader, which finds more and mistakes fewer stages: count "
            "again with --reader auto and onnxruntime installed, or check it by hand.",
        )
