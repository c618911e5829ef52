"""What the camera notebook calls: the same steps as the command line, forgiving where a part is not asked for."""

from __future__ import annotations

import hashlib
from pathlib import Path

from qckit._paths import sample_images_dir
from qckit.agreement.drawing import certificate_charts
from qckit.errors import InputError, need_number, need_text, unknown_name
from qckit.photo.finding import SUFFIXES
from qckit.review.camera import kept_scale, measure_scale, save_scale, say_alike, say_other_scale
from qckit.review.camera_check import CameraCheck, check_camera, save_certificate
from qckit.review.check_photos import mark_learnt, mark_scale
from qckit.review.site_model import site_stage_model
from qckit.words import with_uncertainty

__all__ = [
    "SetupCheck",
    "check_for_setup",
    "find_setup_photo",
    "is_demo_photo",
    "keep_for_setup",
    "measure_for_setup",
    "scales_for_setup",
]


def find_setup_photo(folder, photo: str) -> Path:
    """Find the photo of a pattern: a path, or a name in the site's photos.

    Parameters
    ----------
    folder : path
        Site folder.
    photo : str
        Empty: a drawn photo of a ruled chamber that comes with the kit, to see how it goes.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        It is nowhere.

    Examples
    --------
    >>> review.find_setup_photo(site.folder, "").name
    'k-121_a_1.jpg'
    """
    from qckit.review.files import find_photo_file

    photo = need_text("photo", photo)
    if not photo.strip():
        return next(iter(sorted((sample_images_dir() / "photos").glob("*.jpg"))))
    path = Path(photo).expanduser()
    if path.is_file():
        return path
    try:
        return find_photo_file(folder, photo)
    except InputError as error:
        photos = Path(folder) / "photos"
        known = sorted({p.name for p in photos.rglob("*") if p.suffix.lower() in SUFFIXES})
        raise unknown_name("photo", photo, known, where=f"{photos} and the folder of this notebook") from error


def is_demo_photo(path) -> bool:
    """Tell whether a photo is one of the drawn ones that come with the kit, wherever it lies and whatever its name.

    Parameters
    ----------
    path : path
    """

    def digest(file):
        return hashlib.sha256(Path(file).read_bytes()).digest()

    drawn = [p for p in sample_images_dir().rglob("*") if p.suffix.lower() in (".jpg", ".jpeg", ".png")]
    size = Path(path).stat().st_size
    return any(p.stat().st_size == size and digest(p) == digest(path) for p in drawn)


def keep_for_setup(log, measured, *, camera, magnification, by, photo=None, approved=False) -> list[str]:
    """Keep a scale when it is approved and camera, magnification and initials are filled in; says what was done.

    Parameters
    ----------
    log : SiteLog
    measured : MeasuredScale
    camera, magnification, by : str
    photo : path, optional
        The photo it was measured on: the scale of a drawn photo of the kit is nobody's camera and is never kept.
    approved : bool or float
        Whether a person has looked at the picture and found the lines right. Where this camera and magnification have
        another scale already, the new one itself is asked for [µm/px]: an approval that was given to an earlier picture
        keeps nothing.

    Returns
    -------
    list of str
        One sentence, and one for each other name with the same scale.

    Examples
    --------
    >>> found = review.measure_scale(picture, method="two points", spacing_um=620.0, points=[(0.0, 0.0), (100.0, 0.0)])
    >>> with qckit.open_log(site.folder) as records:
    ...     kept = review.keep_for_setup(records, found, camera="", magnification="", by="")
    >>> len(kept) > 0
    True
    """
    if isinstance(approved, str) or not approved:
        return ["Not kept: look at the picture above, then set approved = True in this cell and run it again."]
    if photo is not None and is_demo_photo(photo):
        return [
            "Not kept: this is a drawn photo that comes with the kit, and its scale is that of no camera. Give a photo "
            "of your own in the parameter photo."
        ]
    filled = {"camera": camera, "magnification": magnification, "initials": by}
    empty = [name for name, value in filled.items() if not need_text(name, value).strip()]
    if empty:
        return [f"Not kept: {' and '.join(empty)} {'are' if len(empty) > 1 else 'is'} empty in the parameters above."]
    name, found = f"{camera} {magnification}", measured.scale
    scale = with_uncertainty(found.um_per_px, found.u_um_per_px)
    before = kept_scale(log, camera, magnification)
    if before is not None:
        new = found.um_per_px
        if str(before["photo"]) == measured.photo and abs(new / before["um_per_px"] - 1) < 1e-5:
            return [f"Kept for {name} already: {scale} µm per pixel."]
        other = say_other_scale(found, before)
        if other and (approved is True or abs(approved / new - 1) > 0.01):
            return [
                f"Not kept: {name} {other} Was the camera changed, and do the lines above lie right? Then write "
                f"approved = {new:.4g} in this cell."
            ]
    alike = say_alike(log, found, camera, magnification)
    save_scale(log, measured, camera=camera, magnification=magnification, by=by)
    return [f"Kept for {name}: {scale} µm per pixel.", *alike]


def measure_for_setup(photo, picker, *, method, spacing_um, u_spacing_um=0.0, about_um_per_px=0.0):
    """Measure by the picker's two points or by the pattern; see :func:`qckit.review.measure_scale`.

    Examples
    --------
    >>> picker = review.pick_points(picture)
    >>> picker.points = [[0.0, 0.0], [100.0, 0.0]]
    >>> found = review.measure_for_setup(picture, picker, method="two points", spacing_um=620.0)
    >>> round(float(found.scale.um_per_px), 2)
    6.2
    """
    method = need_text("method", method)
    spacing_um = need_number("spacing_um", spacing_um, low=0, unit="µm")
    u_spacing_um = need_number("u_spacing_um", u_spacing_um, low=0, unit="µm")
    about_um_per_px = need_number("about_um_per_px", about_um_per_px, low=0, unit="µm per pixel")
    if method == "two points":
        return picker.measure(spacing_um, u_distance_um=u_spacing_um)
    return measure_scale(
        photo, method=method, spacing_um=spacing_um, u_spacing_um=u_spacing_um, about_um_per_px=about_um_per_px or None
    )


def scales_for_setup(log):
    """Return the scales a site keeps, for a page: each with its uncertainty to the same digit, in one column.

    Parameters
    ----------
    log : SiteLog

    Returns
    -------
    DataFrame
        As ``log.scales()``, ``um_per_px`` as text and without ``u_um_per_px``.

    Examples
    --------
    >>> with qckit.open_log(site.folder) as records:
    ...     "u_um_per_px" in review.scales_for_setup(records)
    False
    """
    scales = log.scales()
    pairs = scales[["um_per_px", "u_um_per_px"]].astype(float).itertuples(index=False, name=None)
    shown = [with_uncertainty(*pair) for pair in pairs]
    return scales.assign(um_per_px=shown).drop(columns="u_um_per_px")


class SetupCheck:
    """An accuracy check, or the word that none was asked for.

    Examples
    --------
    >>> review.SetupCheck(None).check is None
    True
    """

    def __init__(self, check: CameraCheck | None):
        self.check = check
        self.sentences = (
            check.sentences if check else ("No counts by eye are named, so the accuracy of this camera stays unknown.",)
        )

    def figures(self):
        """Charts with their text alternatives, for ``reports.figures``."""
        return [] if self.check is None else certificate_charts(self.check.certificate)

    def keep(self, log, *, by: str, approved: bool = False) -> list[str]:
        """Keep the certificate once a person has approved it; says so."""
        if self.check is None:
            return ["There is no certificate to keep."]
        if not self.check.may_be_kept:
            return [self.check.why_not_kept]
        if approved is not True:
            return ["Not kept: look at the charts above, then set approved = True in this cell and run it again."]
        kept = save_certificate(log, self.check, by=by)
        return [f"Kept as {kept.name}; check again by {kept.valid_until}."]


def check_for_setup(
    hand_counts: str, counted_folder: str, *, camera, by, made_at, magnification="", log=None
) -> SetupCheck:
    """Check a camera when counts by eye are named; see :func:`qckit.review.check_camera`.

    Given the site's open ``log``, photos that its own models learnt from are named.

    Examples
    --------
    >>> review.check_for_setup("", "", camera="M1", by="op1", made_at="2026-11-06T10:00Z").check is None
    True
    """
    if not hand_counts.strip():
        return SetupCheck(None)
    about = {"camera": camera, "magnification": magnification, "by": by, "made_at": made_at}
    check = check_camera(hand_counts, counted_folder, **about)
    if log is None:
        return SetupCheck(check)
    check = mark_learnt(check, counted_folder, site_stage_model(log.folder))
    return SetupCheck(mark_scale(check, counted_folder, log.scales()))
