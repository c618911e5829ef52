"""What the kit says of the sets blind, varied and small: ``python judge_blind.py FOLDER [--only poor]``."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path

import judge
import pandas as pd

CODES = {
    "cold": {"cold"},
    "power_cut": {"power"},
    "heat": {"hot"},
    "low_ph": {"ph"},
    "low_oxygen": {"oxygen"},
    "over_density": {"crowded"},
    "high_salinity": {"salt"},
    "low_salinity": {"fresh"},
    "dark_start": {"dark"},
    "not_wetted": {"unwetted"},
    "over_long": {"overlong"},
    "read_early": {"early"},
    "mixing_error": {"uneven", "gradient"},
    "weighing_error": {"amount"},
    "volume_error": {"amount"},
    "miscount": {"missed", "uneven", "swapped", "scaled"},
    "dilution_error": {"amount", "scaled"},
    "bleach_left": {"bleached"},
    "wrong_portion": {"amount"},
    "mixed_lots": {"portion"},
    "wrong_lot": {"portion"},
    "decap_overdone": {"bleached"},
    "bacterial_bloom": {"bloom"},
    "harvest_loss": {"spoilt"},
    "rough_air": {"broken"},
    "dormant_lot": {"embryos"},
    "old_lot": {"embryos"},
    "dirty_lot": {"empty"},
    "damp_cysts": {"embryos", "portion"},
    "tap_water": {"bleached"},
    "soap_left": {"bleached"},
    "air_failure": {"oxygen", "power"},
    "cold_start": {"cold"},
    "counted_early": {"early"},
    "fresh_fill": {"fresh"},
}
"""What was planted -> the kit's causes that are it, or that leave the same counts."""

WATER = {
    "heater_low": "temperature_c",
    "cone_draught": "temperature_c",
    "thermometer_off": "temperature_c",
    "salinity_slip": "salinity_ppt",
    "refractometer_step": "salinity_ppt",
    "aeration_failing": "oxygen_mg_l",
    "ph_decline": "ph",
    "ph_meter_drift": "ph",
    "light_failing": "light_lux",
    "light_timer": "light_lux",
}
"""A change -> the quantity of the water that it moves."""

_EARLIER = pd.Timedelta(days=21)  # a change told of a time so long before is another one, such as a lot that differs


def ask(folder, only=None, names=()):
    """Set -> name -> (truth, answer)."""
    out = {}
    with tempfile.TemporaryDirectory() as work:
        for what in ("quiet", "changes", "poor"):
            if only not in (None, what) or not (Path(folder) / what).exists():
                continue
            for name, tables, known in judge.read_set(Path(folder) / what):
                truth = completed(known, tables)
                if names and name not in names:
                    continue
                site = judge.make_site(Path(work) / name, tables)
                if what == "poor":
                    answer = judge.ask_poor(site, tables, truth | {"hatch": truth["poor_hatch"]})
                else:
                    answer = judge.ask_months(site, tables, truth)
                out.setdefault(what, {})[name] = truth, answer
                print(name, end=" ", file=sys.stderr, flush=True)
    return out


def completed(truth, tables):
    """The truth with what the varied rooms leave to be looked up: hatches that a change struck, what was to show."""
    truth = {"tell": ",".join(truth.get("logged_as") or ())} | truth
    change = dict(next(iter(truth.get("changes") or ()), {}))
    if not isinstance(change.get("struck"), int):
        return truth
    hatches = tables["hatches"]
    day = hatches["started"].str[:10]
    rows = day.between(change["start"], change["end"])
    if change["cones"]:
        rows &= hatches["cone"].astype(str).isin([str(c) for c in change["cones"]])
    if change["lot"]:
        rows &= hatches["lot"].astype(str) == str(change["lot"])
    if change["operator"] and change["belongs_to"] == "operator":
        written = {change["operator"], change["operator"][0]}  # some rooms write initials
        rows &= hatches["operator"].isin(written)
        change["operator"] = next(iter(hatches.loc[rows, "operator"]), change["operator"])
    zone = hatches["started"].iloc[0][-6:]
    change |= {"struck": list(hatches.loc[rows, "hatch"]), "start": f"{change['start']}T00:00{zone}"}
    change |= {"end": f"{change['end']}T23:59{zone}"}
    change["strikes"] = {"all": "water"}.get(change["belongs_to"], change["belongs_to"])
    return truth | {"changes": [change], "decidable": change["decidable"]}


def judge_poor(truth, answer):
    """Whether the first cause, or one of the first three, is acceptable; accused; accused wrongly; dismissed."""
    planted = [c["cause"] for c in truth["causes"] if c["cause"] != "none"]
    right = set().union(*(CODES.get(c, set()) for c in truth["acceptable"]))
    codes = [c for c, _ in answer["causes"]]
    accuses = answer["verdict"] in judge.ACCUSES or bool(answer["named"])
    dismissed = answer["verdict"] in ("not-poor", "chance") and not answer["named"]
    first = answer["named"][0] if answer["named"] else next(iter(codes), "")
    return {
        "planted": "+".join(planted),
        "shown": truth["tell"],
        "decidable": bool(truth["decidable"]),
        "verdict": answer["verdict"],
        "named": ",".join(answer["named"]),
        "top": ",".join(f"{c} {p:.2f}" for c, p in answer["causes"][:3]),
        "first": not dismissed and first in right,
        "three": not dismissed and bool(set(codes[:3]) & right),
        "accuses": accuses,
        "wrong": accuses and first not in right,
        "dismissed": dismissed,
    }


def judge_change(truth, months):
    """Signalled by the end of its last month; the first claim's group or water right; its start inside the interval."""
    change = truth["changes"][0]
    struck, low, end = set(change["struck"]), pd.Timestamp(change["start"]), pd.Timestamp(change["end"])
    last = next((m["month"] for m in months if pd.Timestamp(m["period"]["last"]) > end), months[-1]["month"])
    since = [m for m in months if m["month"] >= str(low)[:7]]
    signals = [m["month"] for m in since for s in m["signals"] if s["hatch"] in struck]
    claims = [
        (m["month"], s, {d["lot"] for d in m["lots"]}) for m in since for s in m["shifts"] if _meant(s, struck, low)
    ]
    first = min(signals + [c[0] for c in claims], default="")
    row = {"kind": change["kind"], "decidable": truth["decidable"], "in_time": bool(first) and first <= last}
    row |= {"claim": "", "named": None, "dated": None}
    if not claims:
        return row
    _month, s, lots = claims[0]
    factor, whom = s["factor"] or "", change["strikes"]
    wanted = {"operator": change["operator"], "cone": (change["cones"] or [""])[0], "lot": change["lot"]}
    named = (factor == whom and s["level"] == wanted.get(whom)) or (
        not factor and (whom in ("water", "meter") or change["kind"] == "camera_step")
    )
    named = named or (whom == "lot" and not factor and lots == {change["lot"]})  # the only lot in use is all hatches
    named = named or [c["condition"] for c in s["conditions"]][:1] == [WATER.get(change["kind"])]
    named = named or (factor in ("counter", "counted_by") and whom in ("operator", "counter"))
    day = pd.Timedelta(days=1)
    inside = pd.Timestamp(s["first_low"]) - day <= low <= pd.Timestamp(s["first_high"]) + day
    claim = f"{s['where']} {s['effect']:+.1f} from {str(s['first'])[:10]} (true {str(low)[:10]})"
    return row | {"claim": claim, "named": named, "dated": bool(inside) if change["course"] == "sudden" else None}


def _meant(shift, struck, low):
    both = len(set(shift["hatches"]) & struck)
    mostly = both >= 3 and both >= 0.5 * min(len(shift["hatches"]), len(struck))
    return mostly and pd.Timestamp(shift["first"]) >= low - _EARLIER


def report(answers):
    """Print the rows and the figures; return the figures."""
    pd.set_option("display.width", 250, "display.max_colwidth", 90)
    out = {}
    if "poor" in answers:
        rows = pd.DataFrame([judge_poor(t, a) for t, a in answers["poor"].values()], index=list(answers["poor"]))
        print(rows.to_string())
        caused, chance = rows[rows["planted"] != ""], rows[rows["planted"] == ""]
        clear = caused[caused["decidable"]]
        counts = {"first": clear["first"], "three": clear["three"], "accused": caused["accuses"]}
        counts |= {"wrong": caused["wrong"], "dismissed": caused["dismissed"], "chance_accused": chance["accuses"]}
        out["poor"] = {"decidable": len(clear), "chance": len(chance)} | {k: int(v.sum()) for k, v in counts.items()}
    if "quiet" in answers:
        rows = [
            (n, m["month"], m["verdict"], m["headline"][:120]) for n, (_, ms) in answers["quiet"].items() for m in ms
        ]
        rows = pd.DataFrame(rows, columns=["site", "month", "verdict", "headline"])
        judged = rows[rows["verdict"] != "not-enough-evidence"]
        print(judged[judged["verdict"] != "in-control"].to_string(index=False))
        out["quiet"] = {"months": len(rows), "judged": len(judged)} | judged["verdict"].value_counts().to_dict()
    if "changes" in answers:
        rows = pd.DataFrame(
            [judge_change(t, a) for t, a in answers["changes"].values()], index=list(answers["changes"])
        )
        print(rows.to_string())
        out["changes"] = judge.sum_changes(rows)
    print(json.dumps(out, indent=1))
    return out


def main():
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("folder", help="as make_blind.py writes it; or answers that --json kept, to judge them again")
    ap.add_argument("--only", choices=("quiet", "changes", "poor"))
    ap.add_argument("--names", nargs="*", default=(), help="of single histories, such as p07")
    ap.add_argument("--json", help="keep the answers here")
    args = ap.parse_args()
    if Path(args.folder).is_file():
        answers = json.loads(Path(args.folder).read_text(encoding="utf-8"))
    else:
        answers = ask(args.folder, args.only, args.names)
    if args.json:
        Path(args.json).write_text(json.dumps(answers, default=str), encoding="utf-8")
    report(answers)


if __name__ == "__main__":
    main()
