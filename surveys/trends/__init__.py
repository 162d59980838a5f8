"""Statistics of calling surveys, from plain arrays and records. No Django."""

from surveys.trends.analysis import Parts, analyze
from surveys.trends.columns import COLUMNS, CORRECTED_COLUMNS, Column
from surveys.trends.estimates import FLAGS, Estimate
from surveys.trends.histories import (
    Histories,
    ListeningPeriod,
    PeriodColumns,
    build_histories,
    columns_from_records,
    select_rows,
)
from surveys.trends.models.abundance import (
    AbundanceFit,
    fit_abundance,
    mean_abundance,
    occupancy_from_abundance,
    single_detection,
)
from surveys.trends.models.call_index import (
    IndexFit,
    IndexSummary,
    fit_call_index,
    heard_given_state,
    index_odds_ratio,
    summarize_groups,
)
from surveys.trends.models.dynamic import (
    DynamicFit,
    dynamic_chance,
    equilibrium_occupancy,
    fit_dynamic,
    seasonal_occupancy,
)
from surveys.trends.models.false_positive import (
    FalsePositiveFit,
    false_positive_chance,
    false_positive_occupancy,
    fit_false_positive,
    fit_false_positive_designs,
)
from surveys.trends.models.goodness_of_fit import GoodnessOfFit, goodness_of_fit
from surveys.trends.models.kappa import agreement_table, cohen_kappa
from surveys.trends.models.model_table import ModelRow, model_table
from surveys.trends.models.occupancy import OccupancyFit, fit_occupancy, fit_occupancy_designs
from surveys.trends.models.occupancy_estimates import (
    coefficient_estimates,
    detection_share,
    occupancy_share,
    occupied_given_histories,
    share_at,
)
from surveys.trends.models.phenology import CallingNights, calling_nights
from surveys.trends.models.phenology_shift import shift_of_season
from surveys.trends.models.trend import (
    TrendFit,
    TrendSummary,
    fit_trend,
    summarize_trend,
    yearly_occupancy,
)
from surveys.trends.numerics.intervals import clopper_pearson, wilson
from surveys.trends.power import PowerCell, SurveyPlan, power_of_trend
from surveys.trends.species_result import SpeciesResult, SpeciesYear, Trend
from surveys.trends.table import (
    YearCounts,
    YearRow,
    count_years,
    row_values,
    year_row,
    yearly_table,
)

__all__ = [
    "COLUMNS",
    "CORRECTED_COLUMNS",
    "FLAGS",
    "AbundanceFit",
    "CallingNights",
    "Column",
    "DynamicFit",
    "Estimate",
    "FalsePositiveFit",
    "GoodnessOfFit",
    "Histories",
    "IndexFit",
    "IndexSummary",
    "ListeningPeriod",
    "ModelRow",
    "OccupancyFit",
    "Parts",
    "PeriodColumns",
    "PowerCell",
    "SpeciesResult",
    "SpeciesYear",
    "SurveyPlan",
    "Trend",
    "TrendFit",
    "TrendSummary",
    "YearCounts",
    "YearRow",
    "agreement_table",
    "analyze",
    "build_histories",
    "calling_nights",
    "clopper_pearson",
    "coefficient_estimates",
    "cohen_kappa",
    "columns_from_records",
    "count_years",
    "detection_share",
    "dynamic_chance",
    "equilibrium_occupancy",
    "false_positive_chance",
    "false_positive_occupancy",
    "fit_abundance",
    "fit_call_index",
    "fit_dynamic",
    "fit_false_positive",
    "fit_false_positive_designs",
    "fit_occupancy",
    "fit_occupancy_designs",
    "fit_trend",
    "goodness_of_fit",
    "heard_given_state",
    "index_odds_ratio",
    "mean_abundance",
    "model_table",
    "occupancy_from_abundance",
    "occupancy_share",
    "occupied_given_histories",
    "power_of_trend",
    "row_values",
    "seasonal_occupancy",
    "select_rows",
    "share_at",
    "shift_of_season",
    "single_detection",
    "summarize_groups",
    "summarize_trend",
    "wilson",
    "year_row",
    "yearly_occupancy",
    "yearly_table",
]
