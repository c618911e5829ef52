"""Plan the hatches of a room day by day, give each its conditions and let it hatch."""

import numpy as np
import pandas as pd

from varied import biology


def water_series(rng, room, days):
    """True water per day and cone: mean, season, a day part that remembers the day before."""
    out, n = {}, len(days)
    for q in ("temp", "ph", "oxy", "sal"):
        rho, x = room["day_to_day"][q], np.zeros(n)
        e = rng.normal(size=n)
        for i in range(n):
            x[i] = e[i] if i == 0 else rho * x[i - 1] + np.sqrt(1 - rho**2) * e[i]
        day = room["mean"][q] + room["sd"][q] * np.sqrt(room["day_share"][q]) * x
        if q == "temp" and room["seasonal_c"]:
            doy = np.array([d.day_of_year for d in days])
            day = day + room["seasonal_c"] * np.sin(2 * np.pi * (doy - 110) / 365)
        out[q] = day
    return out


def plan(rng, room, first, n_days, lot_of_day):
    """One row per hatch; `lot_of_day(day, rng)` names the lot."""
    days = [d for d in pd.date_range(first, periods=n_days) if d.weekday() in room["weekdays"]]
    water = water_series(rng, room, days)
    rota = [str(rng.choice(room["crew"])) for _ in range(7)]
    swap = n_days * rng.uniform(0.3, 0.6) if room["kind"] == "handover" else None
    day_yield = rng.normal(0, 1, len(days))
    rows, last_test = [], {}
    for i, d in enumerate(days):
        ago = (d - days[0]).days
        who = rota[d.weekday()] if rng.uniform() < 0.8 else str(rng.choice(room["crew"]))
        if swap is not None:
            who = room["crew"][0] if ago < swap else room["crew"][1]
        lo, hi = room["use"]
        use = sorted(rng.choice(room["cones"], int(rng.integers(lo, hi + 1)), replace=False), key=room["cones"].index)
        if rng.uniform() < 0.02 and 2 < i < len(days) - 2:
            continue  # a day off
        lot = lot_of_day(d, rng)
        test = room["kind"] == "university" or (
            room["test_every"] and (lot not in last_test or (d - last_test[lot]).days >= room["test_every"])
        )
        if test:
            last_test[lot] = d
        more = float(np.round(rng.choice([1, 1, 1, 0.9, 1.1]), 2)) if room["litres"] > 3 else 1.0
        for cone in use:
            rows.append(
                {
                    "day": d,
                    "ago": ago,
                    "cone": str(cone),
                    "lot": lot,
                    "operator": who,
                    "purpose": "standard test" if test else "production",
                    "grams": room["grams"] if test else round(room["grams"] * more, 1),
                    "start": d + pd.Timedelta(hours=room["start_hour"], minutes=int(rng.integers(0, 9)) * 5),
                    **{q: water[q][i] for q in water},
                    "day_yield": day_yield[i],
                }
            )
    p = pd.DataFrame(rows)
    n = len(p)
    for q in ("temp", "ph", "oxy", "sal"):
        sd = room["sd"][q] * np.sqrt(1 - room["day_share"][q])
        p[q] += rng.normal(0, sd, n) + [room["cone_off"][c].get(q, 0) for c in p.cone]
    t = rng.standard_t(4, n) / np.sqrt(2) if room["heavy"] else rng.normal(size=n)
    p["e_viable"] = room["sd"]["viable"] * (0.7 * rng.normal(size=n) + 0.7 * p.day_yield)
    p["e_yield"] = room["sd"]["yield"] * t + [room["cone_off"][c]["yield"] for c in p.cone]
    p["e_slow"] = rng.normal(0, room["sd"]["slow"], n)
    p["e_stage"] = rng.normal(0, room["sd"]["stage"], n)
    p["e_weigh"] = rng.normal(0, room["sd"]["weigh"], n)
    p["hours_plan"] = room["hours"][0]
    p["late"] = np.round([room["hand"][w]["late"] for w in p.operator] + rng.normal(0, 0.25, n), 2)
    return p


def conditions(room, p, lots):
    """Conditions of every planned hatch, from its water and its lot."""
    n = len(p)
    lot = {k: np.array([lots[x][k] for x in p.lot], float) for k in ("full", "viable", "weak", "slow", "empty")}
    logit = np.log(lot["viable"] / (1 - lot["viable"])) + p.e_viable.to_numpy()
    lot["viable"] = 1 / (1 + np.exp(-logit))
    lot["full"] = lot["full"] * np.exp(p.e_yield.to_numpy())
    lot["slow"] = lot["slow"] * np.exp(p.e_slow.to_numpy())
    lot["weak"] = np.clip(lot["weak"] * np.exp(p.e_stage.to_numpy()), 0, 0.5)
    c = biology.calm(
        n,
        p.temp.to_numpy(),
        p.ph.to_numpy(),
        p.oxy.to_numpy(),
        p.sal.to_numpy(),
        p.grams.to_numpy() / room["litres"],
        lot,
    )
    c["limit"] = np.full(n, 1.3 * room["gl"])
    c["hours"] = np.array(p.hours_plan + p.late)
    c["hours_meant"] = c["hours"].copy()
    return c


def set_rows(c, rows, new):
    """Write the rows `new` back into `c`."""
    for k in c:
        c[k][rows] = new[k]


def hatch(room, world, c, extra=None):
    """Counted stages per gram of every hatch, at the first and (where counted twice) the second reading."""
    w = biology.repeat(world, c["hours"].size)
    out = [biology.develop(w, c)[1]]
    if len(room["hours"]) > 1:
        gap = room["hours"][1] - room["hours"][0]
        out.append(biology.develop(w, c, c["hours"] + gap)[1])
    return out
