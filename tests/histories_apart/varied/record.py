"""Write what the people of a room would have written: the four tables."""

import numpy as np
import pandas as pd

from varied import notes as words
from varied.biology import DT

# Names and units of readings.csv, in one place.
QUANTITY = {
    "temp": ("temperature", "C"),
    "ph": ("ph", "pH"),
    "oxy": ("oxygen", "mg/l"),
    "sal": ("salinity", "ppt"),
    "light": ("light", "lux"),
}
COLUMN = {"temp": "temperature_c", "ph": "ph", "oxy": "oxygen_mg_l", "sal": "salinity_ppt", "light": "light_lux"}
DIGITS = {"temp": 1, "ph": 2, "oxy": 1, "sal": 1, "light": 0}


def stamp(t, room):
    """A time as the sheet has it."""
    return t.strftime("%Y-%m-%dT%H:%M") + room["offset"]


def read(rng, room, c, row, q, hour):
    """One meter's reading of the true water at `hour`."""
    if q == "light":
        lit = c["dark_h"][row] <= hour
        return float(round(rng.normal(1900, 150), -1)) if lit else float(rng.integers(0, 15))
    v = c[q][row]
    v = v[min(int(hour / DT), v.size - 1)] if np.ndim(v) else v
    return round(float(v + rng.normal(0, room["meter"][q])), DIGITS[q])


def slip(rng, q, v):
    """A slip of the pen: two figures swapped or a neighbouring figure."""
    if q == "ph":
        return round(v + float(rng.choice([-0.5, 0.4, -0.6])), 2)
    if q in ("temp", "sal"):
        return round(v + float(rng.choice([-4, -3, 3, 5])), 1)
    return round(max(v + float(rng.choice([-1.5, 1.5])), 0.5), 1)


def habits(room, row):
    """Which quantities are on the sheet that day, and at what hour they are read."""
    if room["water"] == "full":
        return ["temp", "ph", "oxy", "sal", "light"]
    if room["water"] == "sheet":
        return ["temp", "sal", "ph"]
    if room["water"] == "some":
        return ["temp", "sal"] + (["ph", "oxy"] if row["ago"] % 3 == 0 else [])
    return ["temp", "ph", "sal", "oxy"] if row["ago"] % 7 < 1 else []


def tables(rng, room, p, c, per_gram, lots, say=None):
    """Return lots, hatches, readings, samples. `say` has per row what is forced: note, show, hide, slip, hours."""
    say = say or {}
    hatches, readings, samples = [], [], []
    order = np.lexsort((p.cone.map(room["cones"].index), p.start))
    for n, i in enumerate(order):
        r, s = p.iloc[i], say.get(int(i), {})
        hid = f"H{n + 1:04d}" if room["kind"] != "zoo" else f"{r.day:%y%m%d}-{r.cone}"
        when = room.get("sheet_hour", 1.0)
        h = {
            "hatch": hid,
            "lot": r.lot,
            "purpose": r.purpose,
            "cone": r.cone,
            "started": stamp(r.start, room),
            "cysts_g": s.get("grams_written", r.grams),
            "volume_ml": room["litres"] * 1000,
        }
        for q in habits(room, r):
            if q in s.get("hide", ()) or (rng.uniform() < room["miss"] and q not in s.get("show", ())):
                continue
            v = read(rng, room, c, i, q, 0.5 if q == "light" else when)
            if s.get("slip") == q or (rng.uniform() < room["slip"] and q != "light" and not s):
                v = slip(rng, q, v)
            h[COLUMN[q]] = v
        h["decapsulated"] = room["decap"]
        h["operator"] = (
            r.operator[0] if room["initials"] and len({x[0] for x in room["crew"]}) == len(room["crew"]) else r.operator
        )
        note = s.get("note")
        if note is None and rng.uniform() < room["note_rate"]:
            note = words.idle(rng, room["lang"])
            if rng.uniform() < 0.03 and not s:
                note = words.hint(rng)[0]
        h["notes"] = note or ""
        hatches.append(h)
        end = float(c["hours"][i])
        written = s.get("hours_written", float(c["hours"][i]))
        late = set(s.get("show", ())) - {"light"}
        if room["late_reading"] and habits(room, r) and not late:
            late = {q for q in ("temp", "ph", "oxy") if q not in s.get("hide", ()) and rng.uniform() > 0.4}
        for q in sorted(late):
            hour = float(np.clip(rng.normal(end - 2, 1), 3, end))
            readings.append(
                {
                    "hatch": hid,
                    "taken": stamp(r.start + pd.Timedelta(hours=round(hour * 4) / 4), room),
                    "quantity": QUANTITY[q][0],
                    "value": read(rng, room, c, i, q, hour),
                    "unit": QUANTITY[q][1],
                }
            )
        if "light" in s.get("show", ()) and COLUMN["light"] not in h:
            readings.append(
                {
                    "hatch": hid,
                    "taken": stamp(r.start + pd.Timedelta(minutes=30), room),
                    "quantity": "light",
                    "value": read(rng, room, c, i, "light", 0.5),
                    "unit": "lux",
                }
            )
        for k, counted in enumerate(per_gram):
            gap = 0 if k == 0 else room["hours"][k] - room["hours"][0]
            samples += count(rng, room, r, c, i, hid, counted, written + gap, k, s)
        if "second_reading" in s:
            samples += count(rng, room, r, c, i, hid, s["second_reading"], 48.0, 1, s, row=0)
    frames = [
        pd.DataFrame(lot_rows(rng, room, p, lots)),
        pd.DataFrame(hatches),
        pd.DataFrame(readings, columns=["hatch", "taken", "quantity", "value", "unit"]),
        pd.DataFrame(samples),
    ]
    return dict(zip(("lots", "hatches", "readings", "samples"), frames, strict=True))


def count(rng, room, r, c, i, hid, counted, hours, k, s, row=None):
    """Subsamples of one hatch at one reading, as counted and written."""
    row = i if row is None else row
    by = s.get("counter", room["counter"])
    hand = room["hand"]["photo" if by == "photo" else r.operator]
    person = r.operator if by == "person" else ""
    full = room["counts"] != "NC" or r.ago % 10 == 0
    grams = r.grams * np.exp(r.e_weigh)
    factor = grams / (room["litres"] * 1000) * room["ul"] / 1000 / room["dilution"]
    cols = {"N": "nauplii", "U": "umbrella", "C": "cysts", "E": "embryos", "S": "shells"}
    wanted = [x for x in room["counts"] if full or x in "NCE"]
    scatter = float(c["scatter"][i])
    cone_mix = {x: np.exp(rng.normal(0, room["sd"]["clump"])) for x in "NUCS"}
    out = []
    for j in range(room["subs"]):
        drop = np.exp(rng.normal(0, room["sd"]["pipette"] * min(scatter, 1.8)))
        if rng.uniform() < 0.004:
            drop *= rng.uniform(0.5, 0.8)  # a bad drop
        one = {
            "sample": f"{hid}-{'ab'[k]}{j + 1}",
            "hatch": hid,
            "taken": stamp(r.start + pd.Timedelta(minutes=round(hours * 12) * 5), room),
            "hours": round(hours * 4) / 4 if room["write_hours"] else "",
            "kind": "subsample",
            "volume_ul": room["ul"],
            "dilution": room["dilution"],
        }
        if "write" in s:
            one.update(s["write"])
        for x in wanted:
            key = "C" if x == "E" else x
            mean = counted[key][row] * factor * drop * cone_mix[key] * hand[key.lower()]
            wild = room["sd"]["clump"] + 0.07 * (scatter - 1)
            mean *= np.exp(rng.normal(0, wild))
            one[cols[x]] = int(rng.poisson(max(mean, 0)))
        one["counted_by"] = by
        one["counter"] = person
        out.append(one)
    return out


def lot_rows(rng, room, p, lots):
    """The lots, with what the label and the store say."""
    for name, lot in lots.items():
        use = p.loc[p.lot == name, "day"]
        first = use.min() if len(use) else p.day.max()
        known = rng.uniform() < 0.7
        yield {
            "lot": name,
            "origin": str(rng.choice(["", "salt lake", "coastal salina", "inland lake"])),
            "harvested": (first - pd.Timedelta(days=int(rng.integers(200, 700)))).strftime("%Y-%m-01"),
            "received": (first - pd.Timedelta(days=int(rng.integers(3, 60)))).strftime("%Y-%m-%d"),
            "opened": first.strftime("%Y-%m-%d"),
            "best_before": (first + pd.Timedelta(days=lot.get("best", int(rng.integers(150, 600))))).strftime(
                "%Y-%m-%d"
            ),
            "claimed_hatch_pct": lot["claim"] if known else "",
            "claimed_nauplii_per_g": round(lot["full"] * lot["viable"] * 0.95, -4) if rng.uniform() < 0.4 else "",
            "pack_g": float(rng.choice([425, 454, 500])),
            "moisture_pct": round(rng.uniform(3, 8), 1) if rng.uniform() < 0.3 else "",
            "storage_c": float(rng.choice([-20, 4, 5, 8])) if rng.uniform() < 0.6 else "",
            "notes": lot.get("note", ""),
        }
