"""A column's name as a heading that can be read: words, and the unit in brackets."""

from __future__ import annotations

__all__ = ["heading_of"]

_WHOLE = {
    "um_per_px": "scale [µm per pixel]",
    "u_um_per_px": "uncertainty of the scale [µm per pixel]",
    "hatch_pct": "hatching percentage [%]",
    "hatching_efficiency_per_g": "nauplii per gram",
    "nauplii_per_g": "nauplii per gram",
    "shells_per_1000": "shells per 1000 nauplii",
    "ph": "pH",
    "sha256": "SHA-256",
    "counter_version": "counter",
    "scale_source": "scale from",
}
_UNITS = {
    "_mg_per_g": "mg/g",
    "_mg_l": "mg/l",
    "_per_mm2": "1/mm²",
    "_per_ml": "1/ml",
    "_per_g": "1/g",
    "_mm2": "mm²",
    "_um2": "µm²",
    "_pct": "%",
    "_ppt": "ppt",
    "_lux": "lux",
    "_um": "µm",
    "_mm": "mm",
    "_ml": "ml",
    "_ul": "µl",
    "_ug": "µg",
    "_px": "px",
    "_g": "g",
    "_h": "h",
    "_c": "°C",
}


def heading_of(column: str) -> str:
    """Write a column's name as a heading.

    Parameters
    ----------
    column : str
        Name with its unit last, as the tables have it.

    Examples
    --------
    >>> heading_of("chamber_depth_mm"), heading_of("um_per_px"), heading_of("counted_by")
    ('chamber depth [mm]', 'scale [µm per pixel]', 'counted by')
    >>> heading_of("hatch_pct_low")
    'hatching percentage, low [%]'
    """
    if column in _WHOLE:
        return _WHOLE[column]
    for end in ("_low", "_high"):
        if column.endswith(end):
            words, bracket, unit = heading_of(column.removesuffix(end)).partition(" [")
            return f"{words}, {end[1:]}{bracket}{unit}"
    for suffix, unit in _UNITS.items():
        if column.endswith(suffix) and len(column) > len(suffix):
            return f"{column.removesuffix(suffix).replace('_', ' ')} [{unit}]"
    return column.replace("_", " ")
