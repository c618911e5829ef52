"""A careful expert: what do the written tables show, to one who knows the trade but not the site's biology?

Every candidate cause is tried in many other worlds (redrawn from the same wide ranges, kept in so far as they give
the umbrella share this site usually has) and sizes. Each trial predicts how the counts, their scatter, the second
reading, the other cones of the day and of the lot and every written reading would move from the site's own record.
The posterior over the causes says whether the case is decidable and which first answers are fair.
"""

import numpy as np

from varied import biology, causes
from varied.record import COLUMN, QUANTITY

TRIALS = 240
SURE = 0.6
DOUBT = {"N": 0.05, "U": 0.35, "C": 0.15, "S": 0.12}  # how far the expert trusts a pattern (sd of log)
KEYS = {"N": "nauplii", "U": "umbrella", "C": "cysts", "E": "embryos", "S": "shells"}


def per_hatch(t):
    """Mean log count per gram (and the scatter of subsamples) of the first reading of every hatch."""
    s = t["samples"]
    s = s[s["sample"].str.contains(r"-a\d+$")].merge(t["hatches"], on="hatch", suffixes=("", "_h"))
    f = s.dilution * s.volume_ml * 1000 / s.volume_ul / s.cysts_g
    out = {}
    for k, col in KEYS.items():
        if col in s and s[col].notna().any():
            g = s.assign(v=s[col].astype(float), f=f).groupby("hatch")
            out["C" if k == "E" else k] = np.log((g.v.sum() + 0.5) / g.v.count() * g.f.mean()).where(g.v.count() > 0)
    g = s.assign(v=np.log(s.nauplii + 0.5)).groupby("hatch").v
    frame = t["hatches"].set_index("hatch").join([v.rename(k) for k, v in out.items()])
    frame["scatter"], frame["subs"] = g.var(), g.count()
    frame["n_sum"] = s.groupby("hatch").nauplii.sum()
    return frame


def moved(frame, hid):
    """How the hatch stands against the record: differences, their covariance, and those of its mates."""
    me = frame.loc[hid]
    mine = frame[(frame.lot == me.lot) & (frame.index != hid)]
    day = me.started[:10]
    fresh = len(mine) < 25
    ref = frame[frame.lot != me.lot] if fresh else mine
    ref = ref[ref.started.str[:10] < day]
    keys = [k for k in "NUCS" if k in frame and np.isfinite(me.get(k, np.nan)) and ref[k].notna().sum() > 8]
    base, res = {}, {}
    for k in keys:
        x = ref[k].dropna()
        shift = {}
        rest = x - x.mean()
        for by in ("operator", "cone"):
            g = rest.groupby(ref.loc[x.index, by])
            shift[by] = g.sum() / (g.count() + 3)
            rest = rest - ref.loc[x.index, by].map(shift[by])
        mean = float(x.mean())
        base[k] = lambda r, mean=mean, shift=shift: mean + sum(shift[by].get(r[by], 0) for by in shift)
        res[k] = rest
    r = np.column_stack([res[k].reindex(ref.index) for k in keys])
    r = r[np.isfinite(r).all(1)]
    cov = np.cov(r.T).reshape(len(keys), len(keys))
    cov = 0.85 * cov + 0.15 * np.diag(np.diag(cov)) + np.diag([1e-4] * len(keys))
    if fresh:  # lots differ
        cov = cov + np.diag([{"N": 0.012, "U": 0.15, "C": 0.15, "S": 0.1}[k] for k in keys])
    d = np.array([me[k] - base[k](me) for k in keys])
    mates = frame[(frame.started.str[:10] == day) & (frame.index != hid) & (frame.lot == me.lot)]
    kin = mine[(mine.started.str[:10] < day)] if fresh else mine.iloc[:0]
    groups = {n: np.array([q.N - base["N"](q) for _, q in g.iterrows()]) for n, g in (("day", mates), ("lot", kin))}
    return keys, d, cov, groups, ref, _tail(r[:, 0])


def worlds_like(rng, frame, ref, room, density):
    """Worlds and calm conditions that give about the umbrella share of the record; with their weights."""
    n = TRIALS
    w = biology.draw_worlds(rng, n)
    v = np.clip(rng.normal(0.84, 0.07, n), 0.55, 0.97)
    if "C" in ref and ref.C.notna().any():
        share = np.exp(ref.N.mean()) / (np.exp(ref.N.mean()) + np.exp(ref.C.mean()))
        v = np.clip(share + rng.normal(0, 0.02, n), 0.4, 0.985)
    lot = {
        "full": np.exp(ref.N.mean()) / v,
        "viable": v,
        "weak": rng.uniform(0.005, 0.05, n),
        "slow": rng.uniform(0.93, 1.08, n),
        "empty": 0.12 * np.exp(ref.N.mean()) / v,
    }
    m = {q: ref[COLUMN[q]].astype(float).mean() if COLUMN[q] in ref else np.nan for q in COLUMN}
    c = biology.calm(
        n,
        *[m[q] if np.isfinite(m[q]) else x for q, x in (("temp", 27.5), ("ph", 8.2), ("oxy", 6.2), ("sal", 30))],
        density,
        lot,
    )
    c["limit"] = np.full(n, 1.3 * density)
    c["hours"] = np.full(n, room["hours"][0]) + rng.normal(0, 0.2, n)
    calm = biology.develop(w, c)[1]
    weight = np.ones(n)
    if "U" in ref and ref.U.notna().any():
        odd = np.log(calm["U"] / calm["N"]) - (ref.U.mean() - ref.N.mean())
        weight = np.exp(-0.5 * (odd / 0.35) ** 2) + 1e-3
    return w, c, calm, weight


def normal(x, sd):
    """Density of a normal with a heavy shoulder."""
    return 0.97 * np.exp(-0.5 * (x / sd) ** 2) / sd + 0.03 * np.exp(-0.5 * (x / (5 * sd)) ** 2) / (5 * sd)


def judge(rng, room, t, hid, points):
    """Posterior of every cause (and none) for the poor hatch `hid`; `points` is how the note reads."""
    frame = per_hatch(t)
    me = frame.loc[hid]
    keys, d, cov, groups, ref, tail = moved(frame, hid)
    usual = (ref.cysts_g / ref.volume_ml * 1000).median()
    ratio = me.cysts_g / me.volume_ml * 1000 / usual
    w, c0, calm, weight = worlds_like(rng, frame, ref, room, usual)
    later = t["samples"][(t["samples"].hatch == hid) & t["samples"]["sample"].str.contains(r"-b\d+$")]
    recount = t["samples"][(t["samples"].hatch == hid) & t["samples"]["sample"].str.contains(r"-r\d+$")]
    first = t["samples"][(t["samples"].hatch == hid) & t["samples"]["sample"].str.contains(r"-a\d+$")]
    eps = np.exp(ref.N.mean()) / max(ref.n_sum.mean(), 1) * 0.5
    v_calm = max(float(ref.scatter.mean()), 1e-4)
    score = {}
    for name in ["none", *causes.BY_NAME]:
        if name == "decap_overdone" and not room["decap"]:
            continue
        if (name == "over_density") != (ratio > 1.25):
            score[name] = 0.0 if name == "over_density" else None
            if name == "over_density":
                continue
        a, kind = rng.uniform(size=TRIALS), causes.BY_NAME.get(name)
        size = np.zeros(TRIALS)
        if kind:
            size = kind.low * (kind.high / kind.low) ** rng.uniform(size=TRIALS)
            if name == "over_density":
                size = np.full(TRIALS, ratio - 1)
        c = causes.apply(name, w, c0, size, a)
        got = biology.develop(w, c)[1]
        drop = 1 - got["N"] / calm["N"]
        wt = weight * (((drop > 0.06) & (drop < 0.75)) if kind else 1.0)
        if wt.sum() < 1e-6:
            score[name] = 0.0
            continue
        m = np.column_stack([np.log(got[k] + eps) - np.log(calm[k] + eps) for k in keys])
        like = _counts(d - m, cov, keys, tail, bool(kind))
        v = v_calm + (0.07 * (c["scatter"] - 1)) ** 2
        k = me.subs - 1
        like = like * v ** (-k / 2) * np.exp(-0.5 * k * me.scatter / v) * v_calm ** (k / 2)
        sd_n = np.sqrt(cov[keys.index("N"), keys.index("N")])
        for g, x in groups.items():
            if x.size:
                reach = kind and (kind.reach == "lot" or (kind.reach == "day" and g == "day"))
                sd = np.sqrt(0.4 * sd_n**2 + 0.6 * sd_n**2 / x.size)
                hit = normal(x.mean() - m[:, keys.index("N")], sd)
                miss = normal(x.mean(), sd)
                share = 0.5 if kind and kind.shows and not reach else 0.1
                like = like * (
                    0.85 * hit + 0.15 * miss if reach else (share * hit + (1 - share) * miss if kind else miss)
                )
        like = like * _water(t, frame, ref, me, hid, room, c, c0)
        like = like * _hours(first, room, size, name)
        if len(later):
            like = like * _later(later, first, w, c, float(later.written.iloc[0]))
        if len(recount):
            r = np.log(recount.nauplii.mean() / max(first.nauplii.mean(), 0.5))
            like = like * normal(r + (np.log(1 - size) if name == "miscount" else 0), 0.1)
        like = like * points.get(name, 1.0)
        if not kind:  # the lowest of about 25 days
            n25 = min(len(ref), 25 * max(len(ref) / max(ref.started.str[:10].nunique(), 1), 1) * 0.8)
            like = like * max(n25, 1)
        s = float((like * wt).sum() / wt.sum())
        extra = 0.03 if ratio > 1.25 and name != "over_density" else 1.0
        score[name] = s * extra * (kind.weight if kind else 3.0)
    total = sum(v or 0.0 for v in score.values()) or 1.0
    return {k: (v or 0.0) / total for k, v in sorted(score.items(), key=lambda x: -(x[1] or 0))}


def _counts(x, cov, keys, tail, doubt):
    """Multivariate t density of the differences; under a cause the expert doubts the trial's exact pattern."""
    if doubt:
        cov = cov + np.diag([DOUBT[k] ** 2 for k in keys])
    inv, p = np.linalg.inv(cov), len(keys)
    q = np.einsum("ij,jk,ik->i", x, inv, x)
    return (1 + q / tail) ** (-(tail + p) / 2) / np.sqrt(np.linalg.det(cov))


def _tail(x):
    """Degrees of freedom of a t with about the kurtosis of the record."""
    z = (x - x.mean()) / x.std()
    extra = (z**4).mean() - 3
    return float(np.clip(4 + 6 / max(extra, 0.05), 5, 60))


def _water(t, frame, ref, me, hid, room, c, c0):
    """Likelihood of every written reading; the hour of a value on the sheet is not known."""
    like = np.ones(TRIALS)
    readings = t["readings"]
    taken = readings[readings.hatch == hid]
    for q, col in COLUMN.items():
        seen = []
        v = me.get(col, np.nan)
        if v == v and v != "":
            past = ref[col].astype(float).dropna() if col in ref else []
            if len(past) > 5:
                seen.append((float(v), float(np.mean(past)), max(float(np.std(past)), 0.05), (1.0, 20.0)))
        for _, r in taken[taken.quantity == QUANTITY[q][0]].iterrows():
            past = readings[(readings.quantity == r.quantity) & readings.hatch.isin(ref.index)].value
            if len(past) < 6:
                past = ref[col].astype(float).dropna() if col in ref else []
            mean, sd = (np.mean(past), np.std(past)) if len(past) > 5 else _trade(q)
            hour = (np.datetime64(r.taken[:16]) - np.datetime64(me.started[:16])) / np.timedelta64(1, "h")
            seen.append((float(r.value), float(mean), max(float(sd), 0.05), (float(hour),)))
        for v, mean, sd, hours in seen:
            here = np.zeros(TRIALS)
            for h in hours:
                if q == "light":
                    step = np.where(c["dark_h"] > 0, -mean + 5, 0.0)
                else:
                    i = min(int(h / biology.DT), biology.TIME.size - 1)
                    step = (c[q][:, i] - c0[q][:, i]) if np.ndim(c[q]) > 1 else c[q] - c0[q]
                    if q == "oxy":
                        step = np.maximum(step, -mean + 0.2)
                here += normal(v - mean - step, sd) / len(hours)
            wide = np.exp(-0.5 * ((v - mean) / (8 * sd)) ** 2) / (8 * sd)
            like = like * (0.97 * here + 0.03 * wide) * sd
    return like


def _trade(q):
    return {"temp": (27.5, 1.0), "ph": (8.2, 0.15), "oxy": (6.0, 0.7), "sal": (30, 4.0), "light": (1900, 300)}[q]


def _hours(first, room, size, name):
    over = float(first.written.iloc[0]) - room["hours"][0]
    plain = normal(over, 0.5)
    if name == "over_long":
        return 0.5 * normal(over - size, 0.6) + 0.5 * plain
    if name == "counted_early":
        return 0.4 * normal(over + size, 0.6) + 0.6 * plain
    return np.full(TRIALS, plain)


def _later(later, first, w, c, hours):
    """Likelihood of how nauplii and cysts moved between the two readings of the hatch."""
    got, then = biology.develop(w, c)[1], biology.develop(w, c, np.full(TRIALS, hours))[1]
    like = np.ones(TRIALS)
    for k, cols in (("N", ["nauplii"]), ("C", ["cysts", "embryos"])):
        col = next((x for x in cols if x in first), None)
        if col is None or later[col].isna().any():
            continue
        a, b = first[col].sum() + 0.5, later[col].sum() + 0.5
        sd = np.sqrt(1 / a + 1 / b + 0.08**2)
        like = like * normal(np.log(b / a) - np.log((then[k] + 1e3) / (got[k] + 1e3)), sd)
    return like
