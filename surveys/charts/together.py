"""The species of a program together, and the null run, in words."""

from surveys.charts.words import change_with_interval
from surveys.protocol.words import listed
from surveys.trends.community import FALSE_DISCOVERY_RATE, Community
from surveys.trends.null_run import NullRun


def community_words(community: Community | None) -> str:
    """How many species fall or rise, and how many would by chance; blank for fewer than three."""
    if community is None:
        return ""
    count = len(community.species)
    chance = f"{community.by_chance:.1f}"
    rate = f"{100 * FALSE_DISCOVERY_RATE:g}%"
    found = listed(community.discovered) if community.discovered else "none"
    return (
        f"{community.fell} of {count} species {_verb(community.fell, 'fall')} and "
        f"{community.rose} {_verb(community.rose, 'rise')}; if none changed, about {chance} would "
        f"fall and {chance} rise by chance. At a false-discovery rate of {rate} there still "
        f"change: {found}. Mean change of the species: {change_with_interval(community.mean)} a "
        "year."
    )


def null_words(run: NullRun) -> str:
    """How often these surveys would have told a change without one; blank where none was run."""
    alarms = run.alarms
    if alarms.value is None or alarms.low is None or alarms.high is None:
        return ""
    return (
        f"Simulated {run.runs} times without a change, these surveys would have told a fall "
        f"{_times(run.fell)} and a rise {_times(run.rose)} ({100 * alarms.value:.1f}%, "
        f"95% interval {100 * alarms.low:.1f} to {100 * alarms.high:.1f}%)."
    )


def _verb(count: int, verb: str) -> str:
    return f"{verb}s" if count == 1 else verb


def _times(count: int) -> str:
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")
