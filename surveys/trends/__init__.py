"""Statistics of calling surveys, from plain arrays and records. No Django."""

from .columns import COLUMNS, Column
from .histories import (
    Histories,
    ListeningPeriod,
    PeriodColumns,
    build_histories,
    columns_from_records,
    select_rows,
)
from .intervals import clopper_pearson, wilson
from .results import FLAGS, Estimate
from .table import YearCounts, YearRow, count_years, row_values, year_row, yearly_table

__all__ = [
    "COLUMNS",
    "FLAGS",
    "Column",
    "Estimate",
    "Histories",
    "ListeningPeriod",
    "PeriodColumns",
    "YearCounts",
    "YearRow",
    "build_histories",
    "clopper_pearson",
    "columns_from_records",
    "count_years",
    "row_values",
    "select_rows",
    "wilson",
    "year_row",
    "yearly_table",
]
