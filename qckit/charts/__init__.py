"""Control charts that tell chance from change: limits, rules and signals as data first, drawing apart.

A chart is a DataFrame with a row per hatch; a baseline is reviewed, widened for its length and frozen; rules are named
by what they see; and since when, with what, and how often below the minimum have their own functions.
"""

from importlib import import_module

_HOMES = {
    "baseline": ("Baseline", "estimated_rate", "freeze", "rule_reach", "set_baseline", "stored_limits", "widen"),
    "calendar": ("calendar_days", "draw_calendar"),
    "capability": ("Capability", "share_below"),
    "change_point": ("Change", "Segmentation", "break_interval", "find_changes"),
    "control_chart": ("draw_control_chart", "draw_cusum", "draw_ewma", "draw_grid", "rule_mark"),
    "limits": ("CHART_COLUMNS", "D2_EXACT", "D2_TABLE", "Limits", "apply_limits", "fit_limits", "moving_range"),
    "lot_chart": ("LotChart", "build_chart", "freeze_chart"),
    "ewma_cusum": ("cusum_chart", "ewma_chart"),
    "rules": (
        "DEFAULT_RULES",
        "DEFAULT_RULES_REASON",
        "NELSON",
        "RULES",
        "WESTERN_ELECTRIC",
        "false_alarm_rate",
        "find_rule",
        "find_signals",
        "rules_table",
    ),
    "run_lengths": ("RunLength", "cusum_decision", "cusum_run_length", "ewma_run_length", "ewma_width", "run_length"),
    "series": ("CHARTED", "CONDITIONS", "Charted", "chart_points", "hatch_series"),
    "shewhart": (
        "exact_p_chart",
        "exact_u_chart",
        "individuals_chart",
        "laney_p_chart",
        "laney_u_chart",
        "moving_range_chart",
        "p_chart",
        "u_chart",
    ),
    "shifts": ("Shift", "compare_conditions", "find_shifts"),
    "trend": ("autocorrelation", "judge_drift"),
    "variance": ("Components", "hatch_components", "variance_components"),
}

_NAMES = {name: home for home, names in _HOMES.items() for name in names}

__all__ = sorted(_NAMES)


def __getattr__(name):
    if name in _NAMES:
        return getattr(import_module(f"qckit.charts.{_NAMES[name]}"), name)
    raise AttributeError(f"module 'qckit.charts' has no attribute {name!r}; it offers {', '.join(__all__)}")


def __dir__():
    return __all__
