"""The species of a program together, and the null run, in words."""

from surveys.charts.words import change_with_interval
from surveys.language import gettext, gettext_noop, said, said_of
from surveys.protocol.words import listed, number, times
from surveys.trends.community import FALSE_DISCOVERY_RATE, Community
from surveys.trends.null_run import NullRun

_ROUTES = gettext_noop(
    "Simulated {runs} times without a change, these surveys would have shown a fall {fell} and "
    "a rise {rose} ({share}%, 95% interval: {low} to {high}%)."
)
_WHOLE = gettext_noop(
    "Simulated {runs} times with its regions weighted, the whole program would have shown "
    "a fall {fell} and a rise {rose} ({share}%, 95% interval: {low} to {high}%)."
)


def community_words(community: Community | None) -> str:
    """How many species fall or rise, and how many would by chance; blank for fewer than three."""
    if community is None:
        return ""
    count = len(community.species)
    falling = said_of(
        "Of {count} species, {number} is falling",
        "Of {count} species, {number} are falling",
        community.fell,
        count=count,
    )
    chance = number(f"{community.by_chance:.1f}")
    found = listed(community.discovered) if community.discovered else gettext("none")
    return said(
        "{falling} and {rising}. If none changed, about {chance} would fall and {chance} rise by "
        "chance. Still clear at a false-discovery rate of {rate}%: {found}. Mean change of the "
        "species: {mean} per year.",
        falling=falling,
        rising=said_of("{number} is rising", "{number} are rising", community.rose),
        chance=chance,
        rate=number(f"{100 * FALSE_DISCOVERY_RATE:g}"),
        found=found,
        mean=change_with_interval(community.mean),
    )


def null_words(run: NullRun) -> str:
    """How often these surveys would have told a change without one, of the surveyed routes and of
    the whole program; blank where none was run."""
    sentences = [_counted(run, _ROUTES), _counted(run.whole, _WHOLE) if run.whole else ""]
    return " ".join(sentence for sentence in sentences if sentence)


def _counted(run: NullRun, sentence: str) -> str:
    alarms = run.alarms
    if alarms.value is None or alarms.low is None or alarms.high is None:
        return ""
    return said(
        sentence,
        runs=run.runs,
        fell=_times(run.fell),
        rose=_times(run.rose),
        share=number(f"{100 * alarms.value:.1f}"),
        low=number(f"{100 * alarms.low:.1f}"),
        high=number(f"{100 * alarms.high:.1f}"),
    )


def _times(count: int) -> str:
    return times(count) if count else gettext("never")
