"""Statistics of calling surveys, from plain arrays and records. No Django."""

from .columns import (
    COLUMNS,
    CORRECTED_COLUMNS,
    TREND_COLUMNS,
    Column,
)
from .gof import (
    GoodnessOfFit,
    ResidualGroup,
    goodness_of_fit,
    residuals_by_group,
)
from .histories import (
    Histories,
    ListeningPeriod,
    PeriodColumns,
    build_histories,
    columns_from_records,
    select_rows,
)
from .models.abundance import (
    AbundanceFit,
    fit_abundance,
    mean_abundance,
    occupancy_from_abundance,
    single_detection,
)
from .models.callindex import (
    IndexFit,
    IndexSummary,
    fit_call_index,
    heard_given_state,
    index_odds_ratio,
    summarize_groups,
)
from .models.dynamic import (
    DynamicFit,
    dynamic_chance,
    equilibrium_occupancy,
    fit_dynamic,
    seasonal_occupancy,
)
from .models.kappa import (
    agreement_table,
    cohen_kappa,
)
from .models.occupancy import (
    OccupancyFit,
    fit_occupancy,
    fit_occupancy_designs,
)
from .models.occupancy_estimates import (
    coefficient_estimates,
    detection_share,
    occupancy_share,
    occupied_given_histories,
    share_at,
)
from .models.phenology import (
    CallingNights,
    calling_nights,
    days_of_season,
    season_start,
)
from .models.phenology_shift import shift_of_season
from .models.trend import (
    TrendFit,
    TrendSummary,
    bootstrap_slope,
    fit_trend,
    summarize_trend,
    yearly_occupancy,
)
from .modeltable import (
    ModelRow,
    model_table,
)
from .numerics.intervals import (
    clopper_pearson,
    wilson,
)
from .power import (
    SurveyPlan,
    power_of_trend,
)
from .results import (
    FLAGS,
    Estimate,
)
from .species import (
    CorrectedYear,
    SpeciesResult,
    analyze_species,
    corrected_values,
    corrected_years,
    trend_values,
)
from .table import (
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
    "TREND_COLUMNS",
    "AbundanceFit",
    "CallingNights",
    "Column",
    "CorrectedYear",
    "DynamicFit",
    "Estimate",
    "GoodnessOfFit",
    "Histories",
    "IndexFit",
    "IndexSummary",
    "ListeningPeriod",
    "ModelRow",
    "OccupancyFit",
    "PeriodColumns",
    "ResidualGroup",
    "SpeciesResult",
    "SurveyPlan",
    "TrendFit",
    "TrendSummary",
    "YearCounts",
    "YearRow",
    "agreement_table",
    "analyze_species",
    "bootstrap_slope",
    "build_histories",
    "calling_nights",
    "clopper_pearson",
    "coefficient_estimates",
    "cohen_kappa",
    "columns_from_records",
    "corrected_values",
    "corrected_years",
    "count_years",
    "days_of_season",
    "detection_share",
    "dynamic_chance",
    "equilibrium_occupancy",
    "fit_abundance",
    "fit_call_index",
    "fit_dynamic",
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
    "residuals_by_group",
    "row_values",
    "season_start",
    "seasonal_occupancy",
    "select_rows",
    "share_at",
    "shift_of_season",
    "single_detection",
    "summarize_groups",
    "summarize_trend",
    "trend_values",
    "wilson",
    "year_row",
    "yearly_occupancy",
    "yearly_table",
]
