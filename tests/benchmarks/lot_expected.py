"""How far lots of drawn rooms lie from what was to be expected of them, in the standard deviations that are stated.

python tests/benchmarks/lot_expected.py [--rooms N] [--seed S]

A lot's level is that of its first forty production hatches; expected is what the records before its first hatch tell.
"""

from __future__ import annotations

import argparse
import math
import time

import numpy as np
from scipy.stats import t

from qckit.practice.month_rooms import draw_room, draw_room_constants
from qckit.verdicts.lots.expected import expected_of_lot, share_pct
from qckit.verdicts.lots.usual import counted_hatches, usual_of_lot

_LEAST = 8


def main() -> None:
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("--rooms", type=int, default=24)
    ap.add_argument("--seed", type=int, default=8)
    args = ap.parse_args()
    since, rng, rows = time.process_time(), np.random.default_rng(args.seed), []
    for _ in range(args.rooms):
        tables = draw_room(draw_room_constants(rng, days=int(rng.integers(160, 220))))
        counts = counted_hatches(tables["samples"], tables["hatches"], tables["lots"])
        for lot, hatches in counts[counts["purpose"] == "production"].groupby("lot"):
            if len(hatches) < _LEAST:
                continue
            begun = hatches["started"].iloc[0]
            gave = share_pct(usual_of_lot(hatches.head(40), lot=lot, before="2262-01-01T00:00:00+00:00").mean)
            e = expected_of_lot(counts[counts["started"] < begun], tables["lots"], lot, before=begun)
            z = (math.log(gave / (100 - gave)) - e.logit) / e.logit_sd
            rows.append((gave - e.pct, z, float(t.cdf(z, e.df)), bool(e.others)))
    miss, z, p, later = (np.array(column) for column in zip(*rows, strict=True))
    for name, which in (("first lots", ~later), ("later lots", later)):
        print(
            f"{name}: {which.sum()}; off by {math.sqrt(np.mean(miss[which] ** 2)):.1f} points; in stated standard "
            f"deviations mean {z[which].mean():.2f}, SD {z[which].std(ddof=1):.2f}; rarer than 5 % below: "
            f"{(p[which] < 0.05).sum()}, than 1.4 %: {(p[which] < 0.014).sum()}"
        )
    print(f"{time.process_time() - since:.0f} s of processor")


if __name__ == "__main__":
    main()
