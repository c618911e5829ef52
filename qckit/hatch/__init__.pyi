from .budgets.derived import output_budget, purity_budget, recovery_budget, separation_budget
from .budgets.hatching import BUDGET_COLUMNS, Budget, draw_budget, efficiency_budget, percentage_budget
from .column_words import describe_columns
from .comparison.equivalence import paired_ratio_equivalence, ratio_equivalence
from .comparison.lots import Comparison, compare_hatch_pct, compare_per_g, compare_with_claim
from .comparison.undecided import cones_to_decide, draw_comparisons, say_open
from .dose.plan import DosePlan, plan_dose
from .dose.records import DoseRecords, dose_records
from .dose.table import wall_table
from .dose.timing import (
    INSTAR_I_HOURS,
    StartTimes,
    TimesOfLot,
    cost_per_million,
    instar_i_hours,
    lot_currency,
    max_density_g_per_l,
    start_times,
    times_of_lot,
)
from .dose.warnings import DOSE_WARNINGS, DoseWarning, best_beside, is_shown_below
from .formulas import conversion_factor, full_cysts_per_g, hatching_efficiency, hatching_output, hatching_percentage
from .harvest.losses import HarvestLosses, harvest_losses
from .harvest.purity import PURITY_COLUMNS, purity_of_samples, recovery, separation
from .harvest.recovery import (
    ENOUGH_HARVESTS,
    RECOVERY_COLUMNS,
    Recovery,
    harvest_recovery,
    harvest_totals,
    recovery_by_cone,
    recovery_of,
)
from .intervals.estimates import Estimate, Spread
from .intervals.over_cones import proportion_over_cones, rate_over_cones
from .intervals.overdispersion import (
    BetaBinomialFit,
    Dispersion,
    LogitFit,
    binomial_dispersion,
    dose_at_share,
    fit_beta_binomial,
    fit_beta_binomial_on,
    fit_logistic_normal,
    fit_quasi_binomial,
    poisson_dispersion,
)
from .intervals.plain import binomial_interval, mean_interval, positive_mean_interval
from .intervals.proportion_difference import difference_of_proportions
from .intervals.rare_counts import RateChange, poisson_change, poisson_interval
from .intervals.site_spread import site_spread
from .intervals.width import counting_floor, floor_of_few, joined_dispersion, skewness_reach
from .lots.ageing import Ageing, ageing_trend, draw_ageing
from .lots.doubted import Doubted, cannot_be, doubted_hatches, impossible_hatches, too_many, without_impossible
from .lots.level import LotLevel, lot_level, ordinary_hatches
from .lots.standard_tests import latest_test, near_test, test_groups
from .metrics import CONE_COLUMNS, SAMPLE_COLUMNS, cone_metrics, sample_metrics
from .notes import GAP_CODES, Note, gaps, has_note
from .per_hatch import counted_at, hatch_table
from .photo_counts import (
    PHOTO_CORRECTION_COLUMNS,
    PhotoCounts,
    corrected_samples,
    corrected_tables,
    mark_photo_counts,
    photo_counts_of,
)
from .planning.attributes import OrdinaryPlan, acceptance_probability, quality_at_acceptance
from .planning.precision import Plan, plan_for_precision, subsample_dispersion
from .planning.risk import draw_operating_curve, operating_curve, plan_for_risk, repeat_chances
from .rate.comparison import SpeedComparison, compare_rates
from .rate.drawing import draw_rate
from .rate.fit import (
    RATE_COLUMNS,
    HatchRate,
    fit_rate,
    interpolated_times,
    intervals_from_counts,
    lot_rate,
    newest_course,
    time_course,
)
from .rate.models import monotone_curve
from .registry import METRICS, Metric
from .subsamples import fill_volumes, joined_subsamples, reading_subsamples
from .summary import SUMMARY_COLUMNS, LotSummary, Witnesses, compare_witnesses, summarise_cones
from .water.conditions import CONDITION_COLUMNS, check_conditions
from .water.readings import Standard, standard_of, standard_readings, water_of_hatches, water_values
from .water.seawater import (
    OXYGEN_FIT_MAX_PPT,
    SALINITY_FIT_MAX_PPT,
    density_kg_m3,
    oxygen_mg_l_from_pct,
    oxygen_saturation_mg_l,
    oxygen_saturation_pct,
    salinity_from_density,
    salinity_from_specific_gravity,
    specific_gravity,
)
