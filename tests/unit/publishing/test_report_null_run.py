"""The report says how often its trends would have been told without a change."""

from surveys.publishing.formats.report import html_of
from tests.support.frozen_rows import frozen_by_hand


def test_the_null_run_of_each_species_that_had_one(tmp_path):
    text, drawn = html_of(frozen_by_hand(tmp_path))
    runs = [page.null_run.replace("\N{NO-BREAK SPACE}", " ") for page in drawn.pages]
    assert runs == [
        (
            "Simulated 200 times without a change, these surveys would have shown a fall 4 times "
            "and a rise 6 times (5.0%, 95% interval: 2.7 to 9.0%)."
        ),
        "",
    ]
    assert drawn.pages[0].null_run in text
