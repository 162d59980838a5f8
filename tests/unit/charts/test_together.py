"""The species together, and the null run, in words."""

from surveys.charts.together import community_words, null_words
from surveys.trends.community import community_of
from surveys.trends.estimates import POOR_FIT, Estimate
from surveys.trends.null_run import NullRun


def change(value, half, *flags):
    return Estimate(
        name="", value=value, low=value - half, high=value + half,
        interval="", method="", flags=flags,
    )  # fmt: skip


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{MINUS SIGN}", "-")


def test_how_many_fall_and_how_many_would_by_chance():
    species = [("Peeper", change(-9.0, 2.0)), ("Toad", change(-8.0, 2.0))]
    species += [(str(number), change(0.0, 6.0)) for number in range(10)]
    words = plain(community_words(community_of(species)))
    assert words.startswith(
        "Of 12 species, 2 are falling and 0 are rising. If none changed, about 0.3 would fall and "
        "0.3 rise by chance. Still clear at a false-discovery rate of 5%: Peeper and Toad. Mean "
        "change of the species: -"
    )


def test_what_is_not_told_is_not_counted():
    species = [(str(number), change(-9.0, 2.0, POOR_FIT)) for number in range(3)]
    assert community_words(community_of(species)) == ""


def test_one_falls_and_none_is_left():
    species = [("Peeper", change(-3.2, 3.0))]
    species += [(str(number), change(0.0, 6.0)) for number in range(5)]
    words = plain(community_words(community_of(species)))
    assert words.startswith("Of 6 species, 1 is falling and 0 are rising. ")
    assert "rate of 5%: none." in words


def test_how_often_a_change_would_have_been_told():
    """Wilson interval of 9 in 200: 2.4 to 8.3% (Newcombe 1998, method 3, by hand)."""
    words = plain(null_words(NullRun(runs=200, fell=7, rose=2)))
    assert words == (
        "Simulated 200 times without a change, these surveys would have shown a fall 7 times and a "
        "rise twice (4.5%, 95% interval: 2.4 to 8.3%)."
    )
    assert null_words(NullRun(runs=0, fell=0, rose=0)) == ""


def test_how_often_a_change_of_the_whole_program_would_have_been_told():
    whole = NullRun(runs=200, fell=7, rose=2)
    words = plain(null_words(NullRun(runs=0, fell=0, rose=0, whole=whole)))
    assert words == (
        "Simulated 200 times with its regions weighted, the whole program would have shown "
        "a fall 7 times and a rise twice (4.5%, 95% interval: 2.4 to 8.3%)."
    )
    both = plain(null_words(NullRun(runs=200, fell=0, rose=0, whole=whole)))
    assert both.startswith("Simulated 200 times without a change, ")
    assert both.endswith(words)
    untold = NullRun(runs=0, fell=0, rose=0)
    assert null_words(NullRun(runs=0, fell=0, rose=0, whole=untold)) == ""
