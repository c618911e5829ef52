from .ageing import Ageing, ageing_trend, draw_ageing
from .attribute_plan import OrdinaryPlan, acceptance_probability, quality_at_acceptance
from .budgets import output_budget, purity_budget, recovery_budget, separation_budget
from .comparison import Comparison, compare_hatch_pct, compare_per_g, compare_with_claim
from .conditions import CONDITION_COLUMNS, check_conditions
from .dose import (
    INSTAR_I_HOURS,
    StartTimes,
    TimesOfLot,
    cost_per_million,
    instar_i_hours,
    max_density_g_per_l,
    start_times,
    times_of_lot,
)
from .dose_plan import DosePlan, plan_dose
from .dose_records import DoseRecords, dose_records
from .dose_table import wall_table
from .dose_warnings import DOSE_WARNINGS, DoseWarning, best_beside, is_shown_below
from .equivalence import paired_ratio_equivalence, ratio_equivalence
from .estimates import Estimate, Spread
from .formulas import conversion_factor, full_cysts_per_g, hatching_efficiency, hatching_output, hatching_percentage
from .harvest import (
    ENOUGH_HARVESTS,
    RECOVERY_COLUMNS,
    Recovery,
    harvest_recovery,
    harvest_totals,
    recovery_by_cone,
    recovery_of,
)
from .harvest_losses import HarvestLosses, harvest_losses
from .interval_width import counting_floor, floor_of_few, joined_dispersion, skewness_reach
from .intervals import proportion_over_cones, rate_over_cones
from .lot_level import LotLevel, lot_level, ordinary_hatches
from .lot_tests import latest_test, near_test, test_groups
from .metrics import CONE_COLUMNS, SAMPLE_COLUMNS, cone_metrics, sample_metrics
from .notes import GAP_CODES, Note, gaps, has_note
from .open_comparisons import cones_to_decide, draw_comparisons, say_open
from .operating import draw_operating_curve, operating_curve, plan_for_risk, repeat_chances
from .overdispersion import (
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
from .per_hatch import hatch_table
from .photo_counts import (
    PHOTO_CORRECTION_COLUMNS,
    PhotoCounts,
    corrected_samples,
    corrected_tables,
    mark_photo_counts,
    photo_counts_of,
)
from .plain_intervals import binomial_interval, mean_interval, positive_mean_interval
from .plan import Plan, plan_for_precision, subsample_dispersion
from .proportion_difference import difference_of_proportions
from .purity import PURITY_COLUMNS, purity_of_samples, recovery, separation
from .rare_counts import RateChange, poisson_change, poisson_interval
from .rate import (
    RATE_COLUMNS,
    HatchRate,
    fit_rate,
    interpolated_times,
    intervals_from_counts,
    lot_rate,
    newest_course,
    time_course,
)
from .rate_comparison import SpeedComparison, compare_rates
from .rate_drawing import draw_rate
from .rate_models import monotone_curve
from .readings import Standard, standard_of, standard_readings, water_of_hatches, water_values
from .registry import METRICS, Metric
from .spread import site_spread
from .subsamples import fill_volumes, joined_subsamples, reading_subsamples
from .summary import SUMMARY_COLUMNS, LotSummary, Witnesses, compare_witnesses, summarise_cones
from .uncertainty import BUDGET_COLUMNS, Budget, draw_budget, efficiency_budget, percentage_budget
from .water import (
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
