"""Times and counts of the invented room that the tests of the day share."""

import datetime as dt

USUAL = ((80, 3, 12, 76), (84, 2, 15, 80), (81, 3, 14, 70))
ZONE = dt.timezone(dt.timedelta(0))


def at(text: str) -> dt.datetime:
    """Return a time of the invented site, whose clock is UTC in winter."""
    return dt.datetime.fromisoformat(text).replace(tzinfo=ZONE)


def counts_of(day: int) -> list[tuple]:
    """Return three subsamples of an ordinary hatch, a little different each day."""
    return [(n + day % 5 - 2, u, c + day % 3, s + day % 4) for n, u, c, s in USUAL]
