"""python make_small.py OUT --seed N [--only poor|quiet|changes]: write the sets."""

from varied.make import run

from small import months, poor

PARTS = {"poor": poor.make, "quiet": months.quiet, "changes": months.changes}


def main():
    """Run from the command line."""
    run(PARTS, __doc__)
