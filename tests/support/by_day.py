"""Mail that keeps quiet hours, whenever the tests run."""

import datetime as dt


def noon_zone(hours_later: int = 0) -> str:
    """A time zone in which it is between noon and one o'clock now, or so many hours later."""
    ahead = 12 + hours_later - dt.datetime.now(dt.UTC).hour
    ahead = (ahead + 11) % 24 - 11
    # POSIX counts west of Greenwich as positive.
    return f"Etc/GMT{-ahead:+d}" if ahead else "Etc/GMT"
