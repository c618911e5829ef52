"""How many micrometres a pixel spans: one number for all photos, or a table with a row per photo."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from qckit.errors import InputError, one_line
from qckit.words import first_few

__all__ = ["MAX_UM_PER_PX", "MIN_UM_PER_PX", "Scales", "check_scale", "read_scales"]

MIN_UM_PER_PX, MAX_UM_PER_PX = 0.05, 500.0
_NAMED = 10
MOST_MB = 20  # of a scales file


def check_scale(value: object, where: str) -> float:
    """Return a scale as a number of µm per pixel, or say why it cannot be one.

    Raises
    ------
    InputError
        Not a number, or outside 0.05 to 500 µm per pixel.
    """
    try:
        scale = float(str(value).strip())
    except ValueError:
        scale = math.nan
    if not MIN_UM_PER_PX <= scale <= MAX_UM_PER_PX:
        raise InputError(
            f"{where}: um_per_px is {str(value).strip()!r}, and a scale is a number of micrometres per pixel between "
            f"{MIN_UM_PER_PX:g} and {MAX_UM_PER_PX:g}. Measure it with  qckit camera  and write it so."
        )
    return scale


@dataclass(frozen=True)
class Scales:
    """Scale of each photo. [µm/px]

    ``everywhere`` holds for every photo when it is set; ``by_name`` maps file name, path or name without ending;
    ``wrong`` likewise, to what is wrong with the row of that photo.

    Examples
    --------
    >>> photo.Scales(everywhere=6.2).everywhere
    6.2
    """

    everywhere: float | None = None
    by_name: Mapping[str, float] = field(default_factory=dict)
    wrong: Mapping[str, str] = field(default_factory=dict)
    source: str = "scales"

    @classmethod
    def of(cls, given) -> Scales:
        """Build from a number, a CSV path, a mapping of names, or return a ``Scales`` as it is."""
        if isinstance(given, Scales):
            return given
        if isinstance(given, Mapping):
            known = {_key(name): check_scale(v, f"scales, photo {name}") for name, v in given.items()}
            return cls(by_name=known)
        if isinstance(given, (str, Path)):
            return read_scales(given)
        return cls(everywhere=check_scale(given, "scale"))

    def scale_for(self, path: str | Path) -> float:
        """Return the scale of one photo; see :meth:`scales_for`. [µm/px]"""
        return self.scales_for([path])[0]

    def scales_for(self, paths: Iterable[str | Path]) -> list[float]:
        """Return the scale of each photo. [µm/px]

        The whole path is looked for first, then its tail from the longest to the bare file name, then the same
        without the file's ending.

        Raises
        ------
        InputError
            The table has no row for some of the photos, or a wrong one; the first ten are named.
        """
        paths = list(paths)
        for path in paths:
            if (message := self._named(path, self.wrong)) is not None:
                raise InputError(message)
        found = [self._known(path) for path in paths]
        lacking = [one_line(Path(path).name) for path, scale in zip(paths, found, strict=True) if scale is None]
        if lacking:
            each, them = ("each", "them") if len(lacking) > 1 else ("it", "it")
            raise InputError(
                f"{self.source}: no scale for {first_few(lacking, _NAMED)}. Add a row with photo "
                f"and um_per_px for {each}, or leave {them} out of the count."
            )
        return found

    def _known(self, path: str | Path) -> float | None:
        return self.everywhere if self.everywhere is not None else self._named(path, self.by_name)

    @staticmethod
    def _named(path: str | Path, by_name: Mapping):
        """What stands for a photo in a mapping of names; None where nothing does."""
        if not by_name:
            return None
        parts = Path(path).parts
        for start in range(len(parts)):
            tail = "/".join(parts[start:]).lstrip("/")
            for key in (_key(tail), _key(tail.removesuffix(Path(tail).suffix))):
                if key in by_name:
                    return by_name[key]
        return None


def _key(name: object) -> str:
    return str(name).strip().replace("\\", "/").lstrip("/").removeprefix("./").casefold()


def read_scales(path: str | Path) -> Scales:
    """Read a scales file: CSV with the columns ``photo`` and ``um_per_px``; other columns are ignored.

    Parameters
    ----------
    path : path
        Comma or semicolon separated, UTF-8. ``photo`` is a file name with or without its ending, or a path.

    Returns
    -------
    Scales

    Raises
    ------
    InputError
        The file cannot be read, lacks a column, gives two scales for one photo, or holds a bad number.

    Examples
    --------
    >>> pd.DataFrame({"photo": ["a.jpg"], "um_per_px": [6.2]}).to_csv("scales.csv", index=False)
    >>> photo.read_scales("scales.csv").by_name["a.jpg"]
    6.2
    """
    path = Path(path)
    try:
        if path.exists() and not path.is_file():
            raise OSError(None, "it is no file")
        if path.stat().st_size > MOST_MB * 1e6:
            raise OSError(None, f"it has more than {MOST_MB} MB")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise InputError(
            f"{path}: the scales file cannot be read: {reason}. Give a CSV file with the columns photo and um_per_px."
        ) from error
    head = text.split("\n", 1)[0]
    delimiter = ";" if head.count(";") > head.count(",") else ","
    try:
        return _from_rows(csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter), path, delimiter)
    except csv.Error as error:
        raise InputError(f"{path.name}: is no CSV file ({error}). Save it as CSV with photo and um_per_px.") from error


def _from_rows(rows: csv.DictReader, path: Path, delimiter: str) -> Scales:
    names = [n.strip() for n in rows.fieldnames or []]
    rows.fieldnames = names
    lacking = [column for column in ("photo", "um_per_px") if column not in names]
    if lacking:
        raise InputError(
            f"{path.name}: the heading row has no {' and no '.join(lacking)}; it is {', '.join(names)}. "
            "A scales file needs the columns photo and um_per_px."
        )
    known: dict[str, float] = {}
    wrong: dict[str, str] = {}
    for row in rows:
        name = row["photo"]
        if not name or not name.strip():
            continue
        value = row["um_per_px"] or ""
        if delimiter == ";":
            value = value.replace(",", ".")
        where = f"{path.name}, row {rows.line_num} (photo {one_line(name)})"
        try:
            scale = check_scale(value, where)
        except InputError as error:
            wrong.setdefault(_key(name), str(error))
            continue
        if known.setdefault(_key(name), scale) != scale:
            wrong[_key(name)] = (
                f"{where}: um_per_px is {scale:g} here and {known[_key(name)]:g} in a row above. Keep the right one."
            )
    good = {key: scale for key, scale in known.items() if key not in wrong}
    if wrong and not good:
        raise InputError(next(iter(wrong.values())))
    return Scales(by_name=good, wrong=wrong, source=path.name)
