"""python make_small.py OUT --seed N [--only poor|quiet|changes]: write the sets."""

import argparse
from pathlib import Path

from varied.make import write

from small import months, poor

PARTS = {"poor": poor.make, "quiet": months.quiet, "changes": months.changes}


def main():
    """Run from the command line."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("out", type=Path)
    p.add_argument("--seed", type=int, required=True)
    p.add_argument("--only", choices=list(PARTS))
    a = p.parse_args()
    for part in [a.only] if a.only else list(PARTS):
        write(a.out / part, PARTS[part](a.seed))
