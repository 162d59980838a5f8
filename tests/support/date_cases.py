"""How dates and clock times are written, for Python and for the phone: one table for both.

American usage, the en-US and en-GB locales of the Unicode CLDR and ISO 8601, each from memory.
Noon and midnight by name: NIST, "Times of Day FAQs", advises against 12 am and 12 pm, which are
ambiguous (from memory).
"""

from surveys.dates import ClockStyle, DateOrder

# Local clock time, with or without seconds; with 12 hours, with 24.
CLOCKS = [
    ("21:14:09", False, "9:14\u00a0pm", "21:14"),
    ("21:14:09", True, "9:14:09\u00a0pm", "21:14:09"),
    ("09:05:00", False, "9:05\u00a0am", "09:05"),
    ("00:00:00", False, "midnight", "00:00"),
    ("00:00:30", False, "midnight", "00:00"),
    ("00:00:30", True, "12:00:30\u00a0am", "00:00:30"),
    ("00:05:00", False, "12:05\u00a0am", "00:05"),
    ("01:00:00", False, "1:00\u00a0am", "01:00"),
    ("11:59:59", False, "11:59\u00a0am", "11:59"),
    ("12:00:00", False, "noon", "12:00"),
    ("12:00:00", True, "noon", "12:00:00"),
    ("12:30:00", False, "12:30\u00a0pm", "12:30"),
    ("13:00:00", False, "1:00\u00a0pm", "13:00"),
]

# Date; in full and without the year, month first, day first, year first.
DAYS = [
    (
        "2024-04-05",
        ("April 5, 2024", "April 5"),
        ("5 April 2024", "5 April"),
        ("2024-04-05", "April 5"),
    ),
    (
        "2024-12-31",
        ("December 31, 2024", "December 31"),
        ("31 December 2024", "31 December"),
        ("2024-12-31", "December 31"),
    ),
]
ORDERS = (DateOrder.MONTH_FIRST, DateOrder.DAY_FIRST, DateOrder.YEAR_FIRST)
CLOCK_STYLES = (ClockStyle.TWELVE, ClockStyle.TWENTY_FOUR)
