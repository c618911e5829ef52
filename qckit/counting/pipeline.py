"""One photo from file to count."""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from qckit.counting.analysis import Analysis, FoundObjects, analyse, choose_objects
from qckit.counting.bounds import check_countable
from qckit.counting.camera_rule.learned import load_learned
from qckit.counting.camera_rule.reading import read_by_rule
from qckit.counting.damage.integrity import judge_integrity, signs_in_pixels
from qckit.counting.flags import PhotoSigns, judge_photo
from qckit.counting.frame import apply_frame
from qckit.counting.overlong import without_overlong
from qckit.counting.reader.joint_reading import propose_objects, read_at_centres, reader_module
from qckit.counting.regions import check_region, counted_in_region, region_area_mm2
from qckit.counting.result import PhotoCount, version_with
from qckit.counting.segmentation.measuring import FEATURES
from qckit.counting.shells.pale_cysts import paler_cysts
from qckit.counting.stages import CLASSES, StageModel, model_key
from qckit.counting.swing import doubts_of, hatch_shift
from qckit.counting.working import WORK_UM_PER_PX, WorkImage, make_work_image
from qckit.errors import need_text
from qckit.object_rows import FOUND
from qckit.photo import Photo, read_photo
from qckit.photo.reading import read_brightness
from qckit.photo.scales import check_scale
from qckit.robust import median_of
from qckit.stages import FULL_CYST_STAGES, STAGES
from qckit.tables import table_columns

__all__ = ["count_photo", "find_objects", "finest_scale"]

NAUPLIUS = STAGES.index("nauplius")
CLUMP_UM2 = 60_000.0  # larger than a cyst or shell, so that a lone fleck is no clump


def count_photo(
    path,
    *,
    um_per_px: float,
    reader: str | None = "auto",
    photo: Photo | None = None,
    name: str | None = None,
    region: dict | None = None,
    stage_model: str | None = None,
) -> PhotoCount:
    """Count a photo.

    Parameters
    ----------
    path : path
        The photo.
    um_per_px : float
        Scale of the full photo. [µm/px]
    reader : {"auto", None}
        ``"auto"`` lets the reader, a trained network, propose objects where it can be run; None counts without it.
    photo : Photo, optional
        The photo as already read.
    name : str, optional
        What to call it in the tables; its file name when left out.
    region : dict, optional
        Counting frame drawn in the photo, such as a whole dish (:mod:`qckit.counting.regions`); the whole photo with
        the two-edge rule when left out.
    stage_model : str, optional
        File of a site's own models, made by ``qckit camera learn``; those that come with the kit when left out. The
        counter version then names it.

    Returns
    -------
    PhotoCount

    Raises
    ------
    InputError
        The photo cannot be read, or the scale is no scale.

    Examples
    --------
    >>> counted = qckit.count_photo(sample_images_dir() / "photos" / "k-121_a_1.jpg", um_per_px=6.2)
    >>> sorted(counted.counts), counted.hatch_pct > 50
    (['cyst', 'nauplius', 'shell', 'umbrella'], True)
    """
    start = time.perf_counter()
    path = Path(need_text("path", path))
    um_per_px = check_scale(um_per_px, path.name)
    finest = finest_scale(reader)
    photo = photo or read_photo(path, um_per_px=um_per_px, finest_um_per_px=finest)
    size = {"width_px": photo.width_px, "height_px": photo.height_px}
    check_countable(**size, um_per_px=um_per_px, finest_um_per_px=finest, where=path.name)
    region = None if region is None else check_region(region, **size)
    work = make_work_image(photo, um_per_px, to_um_per_px=finest, colour_gain=_colour_gain(reader, stage_model))
    green = np.ascontiguousarray(photo.pixels[..., 1])
    signs_of_damage = signs_in_pixels(
        photo.pixels,
        reduction=photo.reduction,
        fine=lambda: read_brightness(path),
        green=green,
        brightness=photo.brightness,
    )
    # else the photo lies in memory beside all that follows
    photo = replace(photo, pixels=green[:0], reduced=None, brightness=None)
    findings = find_objects(work, reader=reader, stage_model=stage_model)
    analysis, found = findings.analysis, findings.found
    columns = _object_columns(found, analysis)
    frame_mm2 = photo.width_px * photo.height_px * um_per_px**2 / 1e6
    if region is not None:
        columns["counted"] = _in_region(columns, region, um_per_px)
        frame_mm2 = region_area_mm2(region, um_per_px, **size)
    inside = columns["stage"][columns["counted"]]
    counts = {s: int((inside == s).sum()) for s in STAGES}
    in_frame = None if region is None else sum(counts[s] for s in FULL_CYST_STAGES)
    alone = reader_module(reader) is None
    signs = _signs(findings, without_reader=alone, by_measures=alone or stage_model is not None, in_frame=in_frame)
    per_px = green.shape[0] / work.pixels.shape[0], green.shape[1] / work.pixels.shape[1]
    del findings, analysis, work  # else its masks and labels lie in memory beside what the last step needs
    damage = judge_integrity(signs_of_damage, green, found, found.rows * per_px[0], found.cols * per_px[1])
    flags = (*judge_photo(signs), *damage)
    return PhotoCount(
        photo=name or path.name,
        counts=counts,
        columns=columns,
        flags=flags,
        frame_mm2=round(frame_mm2, 6),
        um_per_px=um_per_px,
        sha256=photo.sha256,
        taken=photo.taken,
        width_px=photo.width_px,
        height_px=photo.height_px,
        seconds=time.perf_counter() - start,
        counter_version=version_with(model_key(stage_model)),
    )


def _in_region(columns: dict[str, np.ndarray], region: dict, um_per_px: float) -> np.ndarray:
    """Say which objects count by a drawn frame instead of the photo's edges."""
    counted = counted_in_region(columns, region, um_per_px) & (columns["stage"] != "debris")
    if region["kind"] == "rectangle":  # where its sides are the photo's, the photo's edges left objects out already
        counted &= columns["counted"]
    return counted


def finest_scale(reader: str | None = "auto") -> float:
    """Finest scale that a count looks at; photos may be reduced to it. [µm/px]"""
    module = reader_module(reader)
    return float(module.READER_UM_PER_PX) if module else WORK_UM_PER_PX


@dataclass(frozen=True)
class Findings:
    """Objects found in a photo, and what is known of how they were found.

    Attributes
    ----------
    analysis : Analysis
    found : FoundObjects
    model : StageModel
        The one that was used.
    differing : float
        Share of objects that the reader and the measures call differently; NaN without reader.
    invented, missed : (4,) ndarray
        By stage, objects expected to be none, and expected to have been missed; 0 without reader.
    """

    analysis: Analysis
    found: FoundObjects
    model: StageModel
    differing: float = float("nan")
    invented: np.ndarray = field(default_factory=lambda: np.zeros(len(STAGES)))
    missed: np.ndarray = field(default_factory=lambda: np.zeros(len(STAGES)))


def _colour_gain(reader: str | None, stage_model: str | None) -> np.ndarray | None:
    """What brings this camera's colours to usual ones, for the reader."""
    return load_learned(stage_model).colour_gain if reader_module(reader) else None


def find_objects(work: WorkImage, *, reader: str | None = "auto", stage_model: str | None = None) -> Findings:
    """Find and measure objects with the probabilities of their stages.

    Parameters
    ----------
    work : WorkImage
        At :func:`finest_scale`.
    reader : {"auto", None}
    stage_model : str, optional

    Returns
    -------
    Findings
    """
    module = reader_module(reader)
    learned = load_learned(stage_model)
    model = learned.stages["grey" if work.is_grey else "colour"]
    if module:
        if learned.rule is None:
            joint = read_at_centres(work, model, *propose_objects(work, module))
        else:
            joint = read_by_rule(work, model, module, learned.rule)
        return Findings(model=model, **vars(joint))
    analysis = analyse(work)
    return Findings(analysis, choose_objects(analysis, model), model)


def _object_columns(found: FoundObjects, analysis: Analysis) -> dict[str, np.ndarray]:
    """Columns of a photo's objects table but its name, in reading order."""
    work = analysis.work
    on_edge, counted = apply_frame(found.boxes, work.pixels.shape[:2])
    x_px, y_px = np.round(found.cols * work.step_x, 2), np.round(found.rows * work.step_y, 2)
    order = np.lexsort((x_px, y_px))
    p = np.round(found.p[order], 4)
    stage = np.array(CLASSES, dtype=object)[found.p[order].argmax(axis=1)] if len(order) else np.array([], object)
    sizes = without_overlong({k: v[order] for k, v in found.sizes.items()}, stage)
    columns = {
        "object_id": np.arange(1, len(order) + 1),
        "stage": stage,
        **{f"p_{c}": p[:, i] for i, c in enumerate(CLASSES)},
        "x_px": x_px[order],
        "y_px": y_px[order],
        "length_um": np.round(sizes["length_um"], 1),
        "width_um": np.round(sizes["width_um"], 1),
        "area_um2": np.round(sizes["area_um2"], 0),
        "on_edge": on_edge[order],
        "counted": counted[order] & (stage != "debris"),
        "source": np.full(len(order), FOUND, dtype=object),
    }
    return {column: columns[column] for column in table_columns("objects") if column != "photo"}


def _signs(findings: Findings, *, without_reader, by_measures, in_frame):
    """Gather what the flags look at."""
    analysis, found = findings.analysis, findings.found
    red, green, blue = np.ascontiguousarray(analysis.work.pixels[::4, ::4].transpose(2, 0, 1))
    least, most = np.minimum(np.minimum(red, green), blue), np.maximum(np.maximum(red, green), blue)
    is_counted = found.p.argmax(axis=1) < len(STAGES) if len(found.p) else np.zeros(0, bool)
    patch = found.patch[is_counted]
    crowd = np.where(patch > 0, np.bincount(patch, minlength=1)[patch], 1) if len(patch) else np.zeros(0)
    swing, between = doubts_of(found.p, findings.invented + findings.missed)
    return PhotoSigns(
        white_share=_share(least >= 253),
        black_share=_share(most <= 30 * analysis.work.gain),
        contrast=analysis.foreground.typical,
        covered_share=_share(analysis.foreground.mask[::4, ::4]),
        clump_share=float((crowd > 5).mean()) if len(crowd) else 0.0,
        stages=found.p[is_counted].argmax(axis=1),
        p_best=found.p[is_counted].max(axis=1, initial=0) * found.p_single[is_counted],
        p_body=found.p[is_counted, : len(STAGES)].sum(axis=1) * found.p_single[is_counted],
        swing=swing,
        shift=hatch_shift(found.p, found.p_read),
        between=between,
        paler_cysts=paler_cysts(found.p, found.features),
        length_um=found.sizes["length_um"][is_counted],
        body_width_um=_body_width(analysis),
        differing_share=findings.differing,
        invented_nauplii=float(findings.invented[NAUPLIUS]),
        missed_nauplii=float(findings.missed[NAUPLIUS]),
        without_reader=without_reader,
        by_measures=by_measures,
        in_frame=in_frame,
        clump_objects=_clump_objects(analysis, found),
        strangeness=_strangeness(findings.model, found.features[is_counted]),
        edge_width_um=_edge_width(analysis, found),
    )


def _share(which: np.ndarray) -> float:
    """Share of what is set, as its mean, sooner."""
    return np.count_nonzero(which) / which.size


def _strangeness(model: StageModel, features: np.ndarray) -> float:
    """How far the measured objects lie from those checked; 0 where less than half of the objects could be measured."""
    measured = np.isfinite(features).all(axis=1)
    return model.strangeness(features) if 2 * measured.sum() >= len(features) else 0.0


def _body_width(analysis: Analysis) -> float:
    """Median width of patches of one piece, each as heavy as it is wide, so that bits of lines weigh little. [µm]

    The width is that of an ellipse of the patch's area and length, which spread limbs hardly change. NaN with fewer
    than five.
    """
    cut = analysis.cuts[0]
    patch = cut.pieces.patch
    single = np.flatnonzero(np.bincount(patch)[patch[1:]] == 1)  # single pieces are the first candidates, in order
    single = single[cut.pieces.edge[1:][single] == 0]
    if len(single) < 5:
        return float("nan")
    area, length = cut.sizes["area_um2"][single], cut.sizes["length_um"][single]
    widths = np.sort(4 / np.pi * area / np.maximum(length, 1.0))
    return float(widths[np.searchsorted(np.cumsum(widths), widths.sum() / 2)])


def _edge_width(analysis: Analysis, found: FoundObjects) -> float:
    """How far outlines are smeared: contrast over its gradient at the rim; NaN with fewer than five objects. [µm]

    In dark field contrasts in logarithms are steeper; their widths are brought to those of bright field.
    """
    features = found.features[np.isfinite(found.features).all(axis=1)]
    if len(features) < 5:
        return float("nan")
    contrast, gradient = (features[:, FEATURES.index(n)] for n in ("contrast", "rim_gradient"))
    width = float(median_of(contrast / np.maximum(gradient, 1e-3))) * analysis.work.um_per_px
    return 3.5 * width if analysis.light.is_dark else width


def _clump_objects(analysis: Analysis, found: FoundObjects) -> float:
    """Area of strong patches in which no object was found, in areas of a typical object."""
    cut = analysis.cuts[0]
    n = len(cut.pieces.patch) - 1
    if not len(found.p) or n == 0:
        return 0.0
    patch = cut.pieces.patch[1:]
    size = max(int(patch.max()), int(found.patch.max())) + 1
    area, strength, edge = (
        np.bincount(patch, weights=cut.sizes[k][:n], minlength=size) for k in ("area_um2", "strength", "edge_sides")
    )
    unsolved = np.ones(size, bool)
    unsolved[found.patch] = False
    measured = found.sizes["strength"] > 0
    if not measured.any():
        return 0.0
    usual = float(median_of(found.sizes["strength"][measured] / found.sizes["area_um2"][measured]))
    strong = strength > 0.25 * usual * area
    clump = unsolved & strong & (area > CLUMP_UM2) & (edge == 0)
    return float(area[clump].sum() / median_of(found.sizes["area_um2"]))
