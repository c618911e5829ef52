"""Water of a hatch: salinity from density or specific gravity, oxygen saturation, temperatures; by TEOS-10 (gsw).

Practical salinity is treated as ppt (g/kg differs by about 0.5 %). Surface pressure and an ocean-like mix of salts are
assumed; artificial sea salt is close to it, plain table salt is not. 70 ppt for grow-out, 85 °F in the cone and the
like are common practice, no source.
"""

from __future__ import annotations

import numpy as np

from qckit.errors import InputError

__all__ = [
    "OXYGEN_FIT_MAX_PPT",
    "SALINITY_FIT_MAX_PPT",
    "density_kg_m3",
    "oxygen_mg_l_from_pct",
    "oxygen_saturation_mg_l",
    "oxygen_saturation_pct",
    "salinity_from_density",
    "salinity_from_specific_gravity",
    "specific_gravity",
]

OXYGEN_FIT_MAX_PPT = 42.0
"""Oxygen solubility was measured up to about here (Garcia and Gordon 1992, Limnol. Oceanogr. 37:1307-1312); above it
the figure is an extrapolation."""

SALINITY_FIT_MAX_PPT = 42.0
"""Density was fitted up to here (IOC, SCOR and IAPSO 2010, TEOS-10 manual; laboratory data reach further)."""


def density_kg_m3(salinity_ppt, temperature_c):
    """Density of sea water at the surface.

    Parameters
    ----------
    salinity_ppt, temperature_c : array_like of float
        Practical salinity [ppt]; temperature, ITS-90 [°C], 0 to 40.

    Returns
    -------
    ndarray of float
        [kg/m³]

    Examples
    --------
    >>> round(float(hatch.density_kg_m3(35, 25)), 1)
    1023.3
    """
    import gsw

    salinity, temperature = _checked(salinity_ppt, temperature_c)
    absolute = gsw.SA_from_SP(salinity, 0, 0, 0)
    return gsw.rho(absolute, gsw.CT_from_t(absolute, temperature, 0), 0)


def specific_gravity(salinity_ppt, temperature_c, *, reference_c=None):
    """Density over the density of pure water at the hydrometer's reference temperature (the water's own if None).

    Examples
    --------
    >>> round(float(hatch.specific_gravity(35, 25)), 4)
    1.0264
    """
    reference = temperature_c if reference_c is None else reference_c
    return density_kg_m3(salinity_ppt, temperature_c) / density_kg_m3(0.0, reference)


def salinity_from_density(density, temperature_c):
    """Practical salinity from density.

    Parameters
    ----------
    density : array_like of float
        [kg/m³], 990 to 1100.
    temperature_c : array_like of float
        [°C]

    Returns
    -------
    ndarray of float
        [ppt]; a density below that of pure water gives 0 (within 0.5 kg/m³) or an error.

    Raises
    ------
    InputError
        The density is not one of water, or below that of pure water.

    Examples
    --------
    >>> round(float(hatch.salinity_from_density(1023.3, 25)), 1)
    34.9
    """
    import gsw

    density = np.asarray(density, float)
    if np.any((density < 990) | (density > 1100)):
        raise InputError(
            f"density is {_first(density, (density < 990) | (density > 1100)):g} kg/m³, and water lies "
            "between 990 and 1100. Was it given in g/ml? Multiply by 1000."
        )
    _, temperature = _checked(0.0, temperature_c)
    pure = density_kg_m3(0.0, temperature)
    if np.any(density < pure - 0.5):
        raise InputError(
            f"density is {_first(density, density < pure - 0.5):g} kg/m³, which is below pure water "
            f"({float(np.max(pure)):.1f} kg/m³ at this temperature). Read the hydrometer and the "
            "thermometer again."
        )
    # CT depends weakly on salinity at a fixed temperature: two rounds settle it below 1e-6
    absolute = np.zeros(np.broadcast(density, temperature).shape)
    for _ in range(4):
        found = gsw.SA_from_rho(np.maximum(density, pure), gsw.CT_from_t(absolute, temperature, 0), 0)
        absolute = np.nan_to_num(found, nan=0.0)  # the library gives NaN a hair below pure water
    return np.maximum(gsw.SP_from_SA(absolute, 0, 0, 0), 0.0)


def salinity_from_specific_gravity(gravity, temperature_c, *, reference_c=None):
    """Practical salinity from a hydrometer reading.

    Parameters
    ----------
    gravity : array_like of float
        Specific gravity, such as 1.0220.
    temperature_c : array_like of float
        Temperature of the water. [°C]
    reference_c : float, optional
        Temperature of the pure water the hydrometer refers to (4, 15.6, 20, 25, printed on it); the water's own when
        left out. A wrong one shifts the salinity by 2.5 to 5 ppt. [°C]

    Returns
    -------
    ndarray of float
        [ppt]

    Examples
    --------
    >>> round(float(hatch.salinity_from_specific_gravity(1.0263, 25)), 1)
    34.9
    """
    gravity = np.asarray(gravity, float)
    if np.any((gravity < 0.99) | (gravity > 1.1)):
        raise InputError(
            f"specific gravity is {_first(gravity, (gravity < 0.99) | (gravity > 1.1)):g} and lies "
            "between 0.99 and 1.10 for water. Read the hydrometer again."
        )
    reference = temperature_c if reference_c is None else reference_c
    return salinity_from_density(gravity * density_kg_m3(0.0, reference), temperature_c)


def oxygen_saturation_mg_l(salinity_ppt, temperature_c):
    """Oxygen in water in balance with moist air at one atmosphere.

    Parameters
    ----------
    salinity_ppt, temperature_c : array_like of float
        [ppt], [°C]. Above ``OXYGEN_FIT_MAX_PPT`` the result is an extrapolation.

    Returns
    -------
    ndarray of float
        [mg/l]

    References
    ----------
    Garcia and Gordon 1992, Limnol. Oceanogr. 37:1307-1312, coefficients of Benson and Krause; through ``gsw.O2sol``.

    Examples
    --------
    >>> round(float(hatch.oxygen_saturation_mg_l(35, 28)), 2)
    6.44
    """
    import gsw

    salinity, temperature = _checked(salinity_ppt, temperature_c)
    umol_kg = gsw.O2sol_SP_pt(salinity, temperature)
    return umol_kg * 31.9988e-3 * density_kg_m3(salinity, temperature) / 1000


def oxygen_saturation_pct(oxygen_mg_l, salinity_ppt, temperature_c):
    """Oxygen as percent of saturation.

    Examples
    --------
    >>> round(float(hatch.oxygen_saturation_pct(5.0, 35, 28)))
    78
    """
    return 100 * np.asarray(oxygen_mg_l, float) / oxygen_saturation_mg_l(salinity_ppt, temperature_c)


def oxygen_mg_l_from_pct(oxygen_pct, salinity_ppt, temperature_c):
    """Oxygen in mg/l from percent of saturation.

    Examples
    --------
    >>> round(float(hatch.oxygen_mg_l_from_pct(80, 35, 28)), 2)
    5.15
    """
    return np.asarray(oxygen_pct, float) / 100 * oxygen_saturation_mg_l(salinity_ppt, temperature_c)


def _first(values, bad):
    return float(np.asarray(values)[bad].flat[0]) if np.ndim(values) else float(values)


def _checked(salinity_ppt, temperature_c):
    salinity, temperature = np.asarray(salinity_ppt, float), np.asarray(temperature_c, float)
    if np.any((salinity < 0) | (salinity > 350)):
        raise InputError(
            f"salinity is {_first(salinity, (salinity < 0) | (salinity > 350)):g} ppt and must lie "
            "between 0 and 350. Correct it."
        )
    if np.any((temperature < -2) | (temperature > 45)):
        raise InputError(
            f"temperature is {_first(temperature, (temperature < -2) | (temperature > 45)):g} °C and "
            "must lie between -2 and 45. Was it given in °F?"
        )
    return salinity, temperature
