"""What a careful reader can find on the sheets about one hatch, and whether it settles the cause."""

from __future__ import annotations

import numpy as np
import pandas as pd

COLUMN = {"temperature": "temperature_c", "salinity": "salinity_ppt", "ph": "ph", "oxygen": "oxygen_mg_l"}
READ_OF = {
    "cold": {"temperature"},
    "heat": {"temperature"},
    "power_cut": {"temperature", "oxygen"},
    "low_ph": {"ph"},
    "low_oxygen": {"oxygen", "aeration"},
    "high_salinity": {"salinity"},
    "low_salinity": {"salinity"},
    "dark_start": {"light"},
    "over_density": {"grams", "oxygen"},
    "over_long": {"hours"},
    "read_early": {"hours"},
    "bacterial_bloom": {"oxygen"},
    "miscount": {"counter"},
}
# what the counts of one hatch look like; within a pattern they cannot be told apart without more
PATTERN = {
    "slow": ["cold", "low_ph", "low_oxygen", "read_early", "power_cut", "high_salinity", "miscount"],
    "closed": [
        "dark_start",
        "high_salinity",
        "heat",
        "low_oxygen",
        "bleach_left",
        "dormant_lot",
        "old_lot",
        "mixed_lots",
        "wrong_lot",
        "cold",
        "power_cut",
        "mixing_error",
        "read_early",
        "miscount",
    ],
    "fewer": [
        "weighing_error",
        "volume_error",
        "mixing_error",
        "not_wetted",
        "wrong_portion",
        "miscount",
        "dilution_error",
        "decap_overdone",
        "dirty_lot",
    ],
    "gone": [
        "over_long",
        "bacterial_bloom",
        "harvest_loss",
        "miscount",
        "rough_air",
        "low_salinity",
        "heat",
        "low_oxygen",
        "mixing_error",
    ],
}
KIN = {
    "power_cut": ["cold", "low_oxygen"],
    "mixed_lots": ["wrong_lot", "old_lot"],
    "wrong_lot": ["mixed_lots", "old_lot"],
    "bacterial_bloom": ["low_oxygen"],
    "harvest_loss": ["over_long", "low_oxygen"],
    "wrong_portion": ["weighing_error"],
    "weighing_error": ["wrong_portion"],
    "dilution_error": ["miscount", "volume_error"],
    "dormant_lot": ["old_lot"],
    "old_lot": ["dormant_lot"],
    "rough_air": [],
    "over_density": ["low_oxygen"],
    "volume_error": ["weighing_error"],
    "decap_overdone": [],
}


SHOWS = {"more umbrella": "slow", "more unhatched": "closed", "fewer of all": "fewer", "fewer nauplii than": "gone"}


def summary(frames: dict) -> pd.DataFrame:
    """A row a hatch from its first reading hour: nauplii per gram, shares, hours."""
    s, h = frames["samples"], frames["hatches"].set_index("hatch")
    s = s[s.kind == "subsample"].copy()
    first = s.groupby("hatch").hours.transform("min")
    s["late"] = s.hours > first + 2
    s["closed"] = s.cysts.fillna(s.embryos)
    cols = ["nauplii", "umbrella", "closed", "shells"]
    s[cols] = s[cols].apply(pd.to_numeric)
    m = s[~s.late].groupby("hatch")[[*cols, "volume_ul", "dilution", "hours"]].mean().join(h)
    scale = m.dilution * m.volume_ml * 1000 / m.volume_ul / m.cysts_g
    m["per_g"] = m.nauplii * scale
    m["all_per_g"] = m[["nauplii", "umbrella", "closed"]].sum(axis=1) * scale
    m["shells_per_g"] = m.shells * scale
    total = m[["nauplii", "umbrella", "closed"]].sum(axis=1)
    m["hatch_pct"] = np.where(m.closed.notna(), 100 * m.nauplii / total, np.nan)
    m["u_share"], m["c_share"] = 100 * m.umbrella / total, 100 * m.closed / total
    late = s[s.late].groupby("hatch").nauplii.mean()
    m["late_ratio"] = late / m.nauplii
    return m.sort_values("started")


def z_of(value: float, others: pd.Series, floor: float = 1e-6) -> float:
    others = pd.to_numeric(others).dropna()
    if len(others) < 8 or pd.isna(value):
        return float("nan")
    mid = others.median()
    spread = max(1.4826 * float((others - mid).abs().median()), floor)
    return float((value - mid) / spread)


def gather(frames: dict, name: str, cause_notes: dict | None = None, of_lot: bool = False) -> dict:
    """z of the hatch, evidence as (tag, text), pattern of the counts."""
    m = summary(frames)
    me, day = m.loc[name], m.started.str[:10]
    calm = m[(m.purpose == "production") & (m.index != name) & (day != me.started[:10]) & (m.lot == me.lot)]
    if of_lot:
        calm = m[(m.purpose == "production") & (m.lot != me.lot)]
    elif len(calm) < 12:
        calm = m[(m.purpose == "production") & (m.index != name) & (day != me.started[:10])]
    out, z = [], z_of(np.log(max(me.per_g, 1)), np.log(calm.per_g.clip(lower=1)), 0.03)
    for q, col in COLUMN.items():
        floor = {"temperature": 0.3, "salinity": 0.8, "ph": 0.05, "oxygen": 0.3}[q]
        zs = [z_of(pd.to_numeric(pd.Series([me[col]])).iloc[0], calm[col], floor)]
        r = frames["readings"]
        r = r[r.quantity == q]
        start = frames["hatches"].set_index("hatch").started.map(pd.Timestamp)
        hour = (
            (r.taken.map(pd.Timestamp) - r.hatch.map(start)).map(lambda d: round(d.total_seconds() / 3600, 1))
            if len(r)
            else pd.Series(dtype=float)
        )
        for h in hour[r.hatch == name].unique():
            here = r[(hour - h).abs() < 1.5]
            zs.append(z_of(here[here.hatch == name].value.iloc[0], here[here.hatch.isin(calm.index)].value, floor))
        far = [v for v in zs if np.isfinite(v) and abs(v) > 3.5]
        if far:
            out.append((f"reading:{q}", f"{q} {max(far, key=abs):+.1f} spreads off its usual value"))
    if pd.notna(me.light_lux) and z_of(me.light_lux, calm.light_lux, 100) < -3.5:
        out.append(("reading:light", "light far below its usual value"))
    if me.aeration == "weak" and (calm.aeration == "weak").mean() < 0.1:
        out.append(("reading:aeration", "aeration written as weak"))
    if (
        z_of(
            me.cysts_g / me.volume_ml,
            calm.cysts_g / calm.volume_ml,
            0.03 * float((calm.cysts_g / calm.volume_ml).median()),
        )
        > 4
    ):
        out.append(("sheet:grams", "grams far above the usual portion"))
    if abs(z_of(me.hours, calm.hours, 0.5)) > 3.5:
        out.append(("sheet:hours", "hours of the count far off plan"))
    if (calm.operator == me.operator).sum() < 3:
        out.append(("sheet:operator", "operator new on these sheets"))
    who = frames["samples"].drop_duplicates("hatch").set_index("hatch").counter
    if pd.notna(who[name]) and (who.reindex(calm.index) == who[name]).sum() < 2:
        out.append(("sheet:counter", "counter new on these sheets"))
    late = me.late_ratio
    if pd.notna(late):
        out.append(("late count", f"later count {late:.2f} times the first"))
    sib = m[(day == me.started[:10]) & (m.index != name) & (m.purpose == "production")]
    if len(sib):
        zz = [z_of(np.log(max(v, 1)), np.log(calm.per_g.clip(lower=1)), 0.03) for v in sib.per_g]
        out.append(("sibling cones", "others of the day: " + ", ".join(f"{v:+.1f}" for v in zz)))
    if pd.notna(me.u_share) and z_of(me.u_share, calm.u_share, 1.5) > 3:
        out.append(("stage mix", "more umbrella than usual"))
    if pd.notna(me.c_share) and z_of(me.c_share, calm.c_share, 2) > 3:
        out.append(("stage mix", "more unhatched than usual"))
    if (
        pd.notna(me.c_share)
        and pd.notna(me.u_share)
        and z_of(np.log(max(me.all_per_g, 1)), np.log(calm.all_per_g.clip(lower=1)), 0.04) < -2.5
    ):
        out.append(("stage mix", "fewer of all stages per gram"))
    if pd.notna(me.shells) and me.shells > 0:
        zr = z_of(
            np.log(max(me.nauplii, 1) / me.shells), np.log(calm.nauplii.clip(lower=1) / calm.shells.clip(lower=1)), 0.08
        )
        if abs(zr) > 3:
            out.append(
                ("shells", "fewer nauplii than the shells tell" if zr < 0 else "more nauplii than the shells tell")
            )
    tests = m[(m.purpose == "standard test") & (m.lot == me.lot)]
    if len(tests):
        out.append(("standard test", f"lot tested at {tests.hatch_pct.mean():.0f} % before"))
    if cause_notes and cause_notes.get(name):
        out.append(
            (
                f"note:{cause_notes[name]}",
                "a note names the cause" if cause_notes[name] == "direct" else "a note hints at it",
            )
        )
    return {"z": z, "evidence": out, "stages": bool(pd.notna(me.closed))}


def judge(causes: list, found: dict, of_lot: str | None, named: set) -> dict:
    """decidable and acceptable as a careful reader would have it; named: causes that a note names or hints at."""
    tags = [t for t, _ in found["evidence"]]
    texts = " ".join(x for _, x in found["evidence"])
    visible = np.isfinite(found["z"]) and found["z"] < -1.8
    seen = sorted({g for text, g in SHOWS.items() if text in texts})
    if not causes:
        return {"decidable": not visible or found["z"] > -3, "acceptable": ["none"]}
    settled, wide = [], []
    for cause in causes:
        direct = ("note:direct" in tags and cause in named) or any(
            t.split(":")[-1] in READ_OF.get(cause, set()) for t in tags if t.startswith(("reading", "sheet"))
        )
        if cause == "wrong_portion" and "sibling cones" in tags:
            direct |= any(float(v) > 2.5 for v in found_siblings(found))
        if cause == of_lot:
            direct |= (
                "standard test" in tags or cause != "dirty_lot"
            )  # every hatch of the lot is low from its first day
        settled.append(direct)
        groups = [PATTERN[g] for g in seen] or [g for g in PATTERN.values() if cause in g]
        wide += [c for g in groups for c in g] if found["stages"] else [c for g in PATTERN.values() for c in g]
    if "note:oblique" in tags and not any(settled):  # a hint and counts that fit it
        settled[0] = (
            len(causes) == 1 and causes[0] in named and found["z"] < -3 and any(causes[0] in PATTERN[g] for g in seen)
        )
    decidable = bool(visible and any(settled))
    if decidable:
        acceptable = [c for c, ok in zip(causes, settled) if ok] + [
            k for c, ok in zip(causes, settled) if ok for k in KIN.get(c, [])
        ]
    else:
        acceptable = list(causes) + wide + (["none"] if not visible or found["z"] > -3 else [])
    return {"decidable": decidable, "acceptable": list(dict.fromkeys(acceptable))}


def found_siblings(found: dict) -> list:
    text = next(x for t, x in found["evidence"] if t == "sibling cones")
    return [v for v in text.split(": ")[1].split(", ") if v not in ("nan", "+nan")]
