"""Every metric of a hatch, one record each: what it is, how it is worked out, what its interval and its chart are.

Columns of the tables, the summary of a lot, the monthly series and its charts, labels and the list of words in the
guide are made from these records: a metric from counts that the kit has already is added here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from qckit.hatch.formulas import hatching_efficiency, hatching_output, percent_of

__all__ = ["METRICS", "Metric"]

PROPORTION, RATE, CONSTANT = "proportion", "rate", "constant"


@dataclass(frozen=True, kw_only=True)
class Metric:
    """One metric.

    Parameters
    ----------
    name : str
        Its column, chart and figure name, unit last.
    label, unit, decimals
        How it is written.
    meaning, source : str
        For the list of words.
    interval : {"proportion", "rate", "constant"}
        A share of counts (``part`` of ``whole``); a count per gram (``part`` x factor); or the metric ``of`` times a
        constant of the lot.
    part, whole : str
        Columns of counts in the table of cones.
    of : str
        Metric that is multiplied.
    constant : callable
        Table of cones -> the constant, NaN where it is not known.
    missing : str
        What to say where the constant is not known.
    constant_u : str
        Setting of the section ``measure`` that holds the constant's relative standard uncertainty. [%]
    has_site_spread : bool
        The site's usual spread between cones is that of this metric.
    is_detected : bool
        The counter's detection of nauplii and cysts widens its interval.
    chart : str
        Kind of the monthly control chart; empty: not charted.

    Examples
    --------
    >>> hatch.METRICS["hatch_pct"].label, hatch.METRICS["hatch_pct"].unit
    ('hatching percentage', '%')
    """

    name: str
    label: str
    unit: str
    decimals: int
    meaning: str
    source: str = "common practice, no source"
    interval: str = PROPORTION
    part: str = ""
    whole: str = ""
    of: str = ""
    constant: Callable | None = None
    missing: str = ""
    constant_u: str = ""
    has_site_spread: bool = False
    is_detected: bool = False
    chart: str = ""

    @property
    def per(self) -> float:
        """Scale of the chart's ratio: 100 for a percentage."""
        return 100.0 if self.interval == PROPORTION else 1.0

    def values(self, table) -> np.ndarray:
        """Work the metric out for each row of counts (columns as in ``hatch.CONE_COLUMNS``)."""
        if self.interval == PROPORTION:
            return percent_of(table[self.part], table[self.whole])
        if self.interval == RATE:
            return np.asarray(hatching_efficiency(table[self.part], table["factor_per_g"]), dtype=float)
        return METRICS[self.of].values(table) * np.asarray(self.constant(table), dtype=float)


_FAO = "Lavens and Sorgeloos 1996, FAO Fisheries Technical Paper 361 (from memory)"

METRICS: dict[str, Metric] = {
    m.name: m
    for m in (
        Metric(
            name="hatch_pct",
            label="hatching percentage",
            unit="%",
            decimals=1,
            meaning="100 N / (N + U + E); C stands for E without decapsulation, and the report says so",
            source=_FAO,
            part="nauplii",
            whole="full_cysts",
            has_site_spread=True,
            is_detected=True,
            chart="p prime",
        ),
        Metric(
            name="hatching_efficiency_per_g",
            label="hatching efficiency",
            unit="nauplii/g",
            decimals=0,
            meaning="nauplii per gram of cysts as weighed: N x dilution x V / (v m)",
            source=_FAO,
            interval=RATE,
            part="nauplii",
            has_site_spread=True,
            chart="log individuals",
        ),
        Metric(
            name="hatching_efficiency_per_dry_g",
            label="hatching efficiency, dry",
            unit="nauplii/g dry",
            decimals=0,
            meaning="nauplii per gram of dry matter: hatching efficiency / (1 - moisture)",
            source=_FAO,
            interval=CONSTANT,
            of="hatching_efficiency_per_g",
            constant=lambda table: hatching_efficiency(1.0, 1.0, moisture_pct=table["moisture_pct"]),
            missing="The lot's moisture is not written down.",
        ),
        Metric(
            name="full_cysts_per_g",
            label="full cysts",
            unit="1/g",
            decimals=0,
            meaning="cysts with an embryo in one gram: (N + U + E) x dilution x V / (v m)",
            source=_FAO,
            interval=RATE,
            part="full_cysts",
            has_site_spread=True,
        ),
        Metric(
            name="output_mg_per_g",
            label="hatching output",
            unit="mg/g",
            decimals=0,
            meaning="hatching efficiency x dry weight of one nauplius",
            source="Vanhaecke and Sorgeloos 1983, Aquaculture 30:43-52 (from memory)",
            interval=CONSTANT,
            of="hatching_efficiency_per_g",
            constant=lambda table: hatching_output(1.0, table["dry_weight_ug"]),
            missing="The dry weight of a nauplius of this lot is not written down.",
            constant_u="dry_weight_u_pct",
        ),
        Metric(
            name="umbrella_pct",
            label="umbrella share",
            unit="%",
            decimals=1,
            meaning="100 U / (N + U + E); a warning sign, no part of the hatching percentage",
            part="umbrella",
            whole="full_cysts",
            chart="p prime",
        ),
        Metric(
            name="opened_pct",
            label="opened fraction",
            unit="%",
            decimals=1,
            meaning="100 S / (S + C + U): a second witness from the shells",
            part="shells",
            whole="shell_whole",
            chart="p prime",
        ),
    )
}
"""Metric -> its record, in the order of tables and charts."""
