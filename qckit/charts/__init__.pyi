from .baseline import Baseline, estimated_rate, freeze, rule_reach, set_baseline, stored_limits, widen
from .calendar import calendar_days, draw_calendar
from .capability import Capability, share_below
from .change_point import Change, Segmentation, break_interval, find_changes
from .chart_grid import draw_grid
from .control_chart import draw_control_chart, draw_cusum, draw_ewma, rule_mark
from .ewma_cusum import cusum_chart, ewma_chart
from .levels import LevelData, LevelModel, Priors, Spreads, fit_levels
from .limits import CHART_COLUMNS, D2_EXACT, D2_TABLE, Limits, apply_limits, fit_limits, moving_range
from .lot_chart import LotChart, build_chart, freeze_chart
from .rules import (
    DEFAULT_RULES,
    DEFAULT_RULES_REASON,
    NELSON,
    RULES,
    WESTERN_ELECTRIC,
    false_alarm_rate,
    find_rule,
    find_signals,
    rules_table,
)
from .run_lengths import RunLength, cusum_decision, cusum_run_length, ewma_run_length, ewma_width, run_length
from .search import Search, find_changes_in_levels
from .selection import size_after_selection
from .series import CHARTED, CONDITIONS, Charted, chart_points, hatch_series
from .shewhart import (
    exact_p_chart,
    exact_u_chart,
    individuals_chart,
    laney_p_chart,
    laney_u_chart,
    moving_range_chart,
    p_chart,
    u_chart,
)
from .trend import autocorrelation, judge_drift
from .variance import Components, hatch_components, variance_components
from .water import WaterDays, search_water, water_limits, water_points, why_no_limits
