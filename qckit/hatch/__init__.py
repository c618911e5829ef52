"""From counts to hatch metrics: percentage, efficiency, rate, uncertainty, comparison, plan, dose, water.

Everything here is arithmetic on DataFrames and arrays; nothing opens a file. Names are looked up when first used, so
that importing the folder costs nothing.
"""

from importlib import import_module

_HOME = {
    "metrics": (
        "CONE_COLUMNS",
        "SAMPLE_COLUMNS",
        "cone_metrics",
        "conversion_factor",
        "full_cysts_per_g",
        "hatching_efficiency",
        "hatching_output",
        "hatching_percentage",
        "sample_metrics",
    ),
    "subsamples": (
        "fill_volumes",
        "joined_subsamples",
        "reading_subsamples",
    ),
    "notes": ("GAP_CODES", "Note", "gaps", "has_note"),
    "intervals": (
        "Estimate",
        "Spread",
        "binomial_interval",
        "counting_floor",
        "floor_of_few",
        "joined_dispersion",
        "mean_interval",
        "positive_mean_interval",
        "proportion_over_cones",
        "rate_over_cones",
        "skewness_reach",
    ),
    "per_hatch": ("hatch_table",),
    "registry": ("METRICS", "Metric"),
    "summary": (
        "SUMMARY_COLUMNS",
        "LotSummary",
        "Witnesses",
        "compare_witnesses",
        "summarise_cones",
        "summarise_lot",
    ),
    "spread": ("site_spread",),
    "conditions": (
        "CONDITION_COLUMNS",
        "check_conditions",
    ),
    "readings": (
        "Standard",
        "standard_of",
        "standard_readings",
        "water_of_hatches",
        "water_values",
    ),
    "water": (
        "OXYGEN_FIT_MAX_PPT",
        "SALINITY_FIT_MAX_PPT",
        "celsius_from_fahrenheit",
        "density_kg_m3",
        "fahrenheit_from_celsius",
        "oxygen_mg_l_from_pct",
        "oxygen_saturation_mg_l",
        "oxygen_saturation_pct",
        "salinity_from_density",
        "salinity_from_specific_gravity",
        "specific_gravity",
    ),
    "comparison": (
        "Comparison",
        "compare_hatch_pct",
        "compare_per_g",
        "compare_with_claim",
        "cones_to_decide",
        "difference_of_proportions",
        "draw_comparisons",
        "paired_ratio_equivalence",
        "ratio_equivalence",
        "say_open",
    ),
    "dose": (
        "INSTAR_I_HOURS",
        "Dose",
        "StartTimes",
        "cost_per_million",
        "dose_for",
        "instar_i_hours",
        "max_density_g_per_l",
        "start_times",
    ),
    "dose_plan": ("DosePlan", "plan_dose", "wall_table"),
    "dose_warnings": ("DOSE_WARNINGS", "DoseWarning", "best_beside", "is_shown_below"),
    "harvest": (
        "ENOUGH_HARVESTS",
        "RECOVERY_COLUMNS",
        "Recovery",
        "harvest_recovery",
        "recovery_by_cone",
        "recovery_of",
    ),
    "lot_level": ("LotLevel", "lot_level", "ordinary_hatches"),
    "lot_tests": ("latest_test", "near_test", "test_groups"),
    "overdispersion": (
        "BetaBinomialFit",
        "Dispersion",
        "LogitFit",
        "binomial_dispersion",
        "dose_at_share",
        "fit_beta_binomial",
        "fit_beta_binomial_on",
        "fit_logistic_normal",
        "fit_quasi_binomial",
        "poisson_dispersion",
    ),
    "uncertainty": (
        "BUDGET_COLUMNS",
        "Budget",
        "draw_budget",
        "efficiency_budget",
        "percentage_budget",
    ),
    "budgets": (
        "output_budget",
        "purity_budget",
        "recovery_budget",
        "separation_budget",
    ),
    "purity": (
        "PURITY_COLUMNS",
        "purity_of_samples",
        "purity_over_samples",
        "recovery",
        "separation",
    ),
    "rate": (
        "RATE_COLUMNS",
        "HatchRate",
        "fit_rate",
        "interpolated_times",
        "lot_rate",
        "intervals_from_counts",
        "monotone_curve",
        "newest_course",
        "time_course",
    ),
    "rate_comparison": ("SpeedComparison", "compare_rates"),
    "rate_drawing": ("draw_rate",),
    "plan": (
        "OrdinaryPlan",
        "Plan",
        "acceptance_probability",
        "draw_operating_curve",
        "operating_curve",
        "plan_for_precision",
        "plan_for_risk",
        "quality_at_acceptance",
        "subsample_dispersion",
    ),
    "ageing": (
        "Ageing",
        "ageing_trend",
        "draw_ageing",
    ),
}
_WHERE = {name: f"qckit.hatch.{module}" for module, names in _HOME.items() for name in names}

__all__ = sorted(_WHERE)


def __getattr__(name):
    if name in _WHERE:
        return getattr(import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'qckit.hatch' has no attribute {name!r}; it offers {', '.join(__all__)}")


def __dir__():
    return __all__
