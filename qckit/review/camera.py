"""A camera's scale: measured on a photo, approved by a person, kept in the log."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qckit.counting.bounds import check_countable
from qckit.errors import InputError, unknown_name
from qckit.files import write_csv
from qckit.photo import find_photos, photo_names
from qckit.tables import to_utc
from qckit.words import with_uncertainty

__all__ = [
    "MeasuredScale",
    "measure_scale",
    "save_scale",
    "scale_for",
    "write_scales",
]


@dataclass(frozen=True)
class MeasuredScale:
    """A scale, the photo it was found on, and the picture to approve it by."""

    scale: object
    photo: str
    picture: object

    @property
    def sentence(self) -> str:
        """The scale in words."""
        s = self.scale
        text = (
            f"{self.photo}: {with_uncertainty(s.um_per_px, s.u_um_per_px)} µm per pixel (standard uncertainty, "
            f"{s.u_pct:.2g} %), from {s.method} of {s.spacing_um:g} µm."
        )
        exact = "" if s.u_spacing_um else f"The {s.spacing_um:g} µm are taken as exact."
        return " ".join(filter(None, [text, exact, *s.notes]))


def measure_scale(photo, *, method, spacing_um, u_spacing_um=0.0, points=None, about_um_per_px=None) -> MeasuredScale:
    """Find a scale on a photo.

    Parameters
    ----------
    photo : path
        Photo of the pattern.
    method : {"stage micrometer", "ruled chamber", "woven sieve", "two points"}
        What is on it.
    spacing_um : float
        One division, one square, opening plus wire; or the distance between the two points. [µm]
    u_spacing_um : float
        Standard uncertainty of that. [µm]
    points : sequence of two (x, y), optional
        For two points. [px]
    about_um_per_px : float, optional
        Rough scale, where a pattern has finer lines inside its squares.

    Returns
    -------
    MeasuredScale
        Look at ``.picture`` before keeping it: dashed lines must lie on the pattern's lines.

    Raises
    ------
    InputError
        The photo cannot be read, no pattern is found, or points are missing.

    Examples
    --------
    >>> found = review.measure_scale(picture, method="two points", spacing_um=620.0, points=[(0.0, 0.0), (100.0, 0.0)])
    >>> round(float(found.scale.um_per_px), 2)
    6.2
    """
    from qckit.photo import read_photo
    from qckit.photo.scale import METHODS, scale_from_pattern, scale_from_points
    from qckit.photo.scale_picture import draw_scale

    if method not in METHODS:
        raise unknown_name("method", method, METHODS)
    read = read_photo(photo)
    if method == "two points":
        if points is None or len(points) != 2:
            raise InputError(
                f"{read.name}: two points are needed. Give x and y of each, in pixels of the upright photo."
            )
        _on_photo(read, points)
        scale = scale_from_points(*points, spacing_um, u_distance_um=u_spacing_um)
    else:
        scale = scale_from_pattern(
            read.pixels, spacing_um, method=method, u_spacing_um=u_spacing_um, about_um_per_px=about_um_per_px
        )
    _need_countable(read, scale)
    return MeasuredScale(scale, read.name, draw_scale(read.pixels, scale))


def _need_countable(read, scale) -> None:
    """Refuse a scale at which no photo of this size could be counted: a spacing in mm, or ten times off."""
    size = {"width_px": read.width_px, "height_px": read.height_px}
    try:
        check_countable(**size, um_per_px=scale.um_per_px, finest_um_per_px=scale.um_per_px, where=read.name)
    except InputError as error:
        raise InputError(
            f"{str(error).rstrip('.')}. The spacing of {scale.spacing_um:g} is taken as µm: 1 mm is 1000 µm."
        ) from error


def _on_photo(read, points) -> None:
    """Refuse a point that lies off the photo: a slip of the keyboard would become a scale."""
    for x, y in points:
        if not (0 <= x <= read.width_px and 0 <= y <= read.height_px):
            raise InputError(
                f"{read.name}: the point {x:g}, {y:g} lies off the photo, which is {read.width_px} x "
                f"{read.height_px} px. Give x and y in pixels of the upright photo."
            )


def save_scale(log, measured: MeasuredScale, *, camera: str, magnification: str, by: str, notes: str = ""):
    """Keep an approved scale for a camera and magnification.

    Parameters
    ----------
    log : SiteLog
    measured : MeasuredScale
        Looked at and found right.
    camera, magnification : str
        In the site's own words.
    by : str
        Initials of who approved it.
    notes : str
        Anything to remember.

    Returns
    -------
    ImportResult

    Examples
    --------
    >>> new = log.new_site("room-6")
    >>> found = review.measure_scale(picture, method="two points", spacing_um=620.0, points=[(0.0, 0.0), (100.0, 0.0)])
    >>> with qckit.open_log(new) as records:
    ...     kept = review.save_scale(records, found, camera="M1", magnification="2x", by="op1")
    ...     print(len(records.scales()))
    1
    """
    import pandas as pd

    for what, value in (("camera", camera), ("magnification", magnification), ("initials", by)):
        if not str(value).strip():
            raise InputError(f"a scale is kept under camera, magnification and initials; {what} is empty. Fill it in.")
    s = measured.scale
    row = {
        "camera": camera,
        "magnification": magnification,
        "set_at": log.now(),
        "um_per_px": float(f"{s.um_per_px:.6g}"),
        "u_um_per_px": float(f"{s.u_um_per_px:.3g}"),
        "method": f"{s.method} {s.spacing_um:g} µm",
        "photo": measured.photo,
        "set_by": by,
        "notes": " ".join(filter(None, (notes, *s.notes))),
    }
    return log.add("scales", pd.DataFrame([row]), by=by, source=measured.photo)


def kept_scale(log, camera: str, magnification: str):
    """Return the newest scale of a camera and magnification (Series, a row of the scales table), or None."""
    known = log.scales()
    mine = known[(known["camera"] == camera.strip()) & (known["magnification"] == magnification.strip())]
    return None if mine.empty else mine.loc[to_utc(mine["set_at"]).idxmax()]


def say_other_scale(scale, before) -> str:
    """Say where a camera's kept scale (a row, or None) is another than one found now; empty where it is the same."""
    from qckit.agreement.lookup import SAME_SCALE

    if before is None or abs(scale.um_per_px / before["um_per_px"] - 1) <= SAME_SCALE:
        return ""
    return f"had {before['um_per_px']:.4g} µm per pixel since {before['set_at'][:10]}; this is {scale.um_per_px:.4g}."


def say_alike(log, scale, camera: str, magnification: str) -> list[str]:
    """Say where a scale to be kept is that of another name already, or its name is written almost like another.

    Parameters
    ----------
    log : SiteLog
    scale : CameraScale
    camera, magnification : str

    Returns
    -------
    list of str
        A sentence for each name that is in doubt: photos are known as a camera's by their scale, and to more than one
        camera they are nobody's.
    """
    from qckit.agreement.lookup import SAME_SCALE

    def plain(name):
        return "".join(str(name).split()).casefold()

    found, newest = [], log.scales().sort_values("set_at").drop_duplicates(["camera", "magnification"], keep="last")
    for row in newest.itertuples():
        other = f"{row.camera} {row.magnification}"
        if (row.camera, row.magnification) == (camera.strip(), magnification.strip()):
            continue
        if (plain(row.camera), plain(row.magnification)) == (plain(camera), plain(magnification)):
            name = f"{camera.strip()} {magnification.strip()}"
            found.append(f"{name} is written almost like {other}, which has a scale, too: use one name.")
        elif abs(scale.um_per_px / row.um_per_px - 1) <= SAME_SCALE:
            found.append(
                f"{other} has the same scale: photos of the two cannot be told apart, and no certificate speaks for "
                "them. Was this photo taken through the other?"
            )
    return found


def scale_for(log, camera: str, magnification: str):
    """Return the newest scale of a camera and magnification.

    Parameters
    ----------
    log : SiteLog
    camera, magnification : str

    Returns
    -------
    Series
        Row of the scales table.

    Raises
    ------
    InputError
        There is none; the known ones are listed.

    Examples
    --------
    >>> try:
    ...     with qckit.open_log(site.folder) as records:
    ...         review.scale_for(records, "M1", "2x")
    ... except qckit.InputError as error:
    ...     print(error)
    unknown camera and magnification 'M1 2x'. There is no camera and magnification yet.
    """
    found = kept_scale(log, camera, magnification)
    if found is None:
        pairs = sorted({f"{r.camera} {r.magnification}" for r in log.scales().itertuples()})
        raise unknown_name("camera and magnification", f"{camera} {magnification}", pairs)
    return found


def write_scales(photos, um_per_px: float, path) -> Path:
    """Write a scales file for ``qckit count --scales``: one scale for all the photos given.

    Parameters
    ----------
    photos : sequence of path
        Photos or folders.
    um_per_px : float
        [µm/px]
    path : path
        CSV to write.

    Returns
    -------
    Path

    Examples
    --------
    >>> review.write_scales([picture], 6.2, "scales.csv").name
    'scales.csv'
    """
    import pandas as pd

    found = find_photos(photos)
    frame = pd.DataFrame({"photo": photo_names(found), "um_per_px": float(um_per_px)})
    write_csv(path, frame)
    return Path(path)
