"""Ask the kit about invented histories and compare with the truth: ``python judge.py FOLDER [--only poor] [--n 5]``.

Every history becomes a site as a user makes it (new, import, the settings to what its sheets say); then each month's
review, with proposed limits frozen once they rest on 20 hatches, or the poor hatch is asked for.
"""

from __future__ import annotations

import argparse
import io
import json
import re
import sys
import tempfile
import zipfile
from pathlib import Path

import pandas as pd

CODES = {
    "cold": {"cold"},
    "cold_room": {"cold"},
    "soap": {"bleached"},
    "bloom": {"bloom"},
    "air_weak_late": {"oxygen", "power"},
    "hot": {"hot"},
    "too_salt": {"salt"},
    "too_fresh": {"fresh"},
    "low_ph": {"ph"},
    "air_off": {"oxygen", "power"},
    "dark": {"dark"},
    "crowded": {"crowded"},
    "old_cysts": {"portion", "embryos"},
    "wet_cysts": {"portion", "embryos"},
    "wrong_lot": {"portion", "embryos", "empty"},
    "read_early": {"early"},
    "bleach_left": {"bleached"},
    "burnt": {"bleached"},
    "on_wall": {"unwetted", "amount"},
    "misweighed": {"amount"},
    "miscounted": {"missed", "uneven"},
    "broken": {"broken"},
}
"""What was planted -> the kit's causes that are it, or that leave the same counts."""

ACCUSES = ("cause-found", "cause-likely", "count-doubtful")


def read_set(folder):
    """(name, tables, truth) of one set."""
    truths = json.loads((Path(folder) / "truth.json").read_text(encoding="utf-8"))
    with zipfile.ZipFile(Path(folder) / "data.zip") as bundle:
        for name, truth in truths.items():
            names = ("lots", "hatches", "readings", "samples")
            yield name, {t: pd.read_csv(io.BytesIO(bundle.read(f"{name}/{t}.csv"))) for t in names}, truth


def make_site(folder, tables):
    """A site of these sheets, by the doors a user has."""
    import qckit
    from qckit.log import new_site, open_log

    folder = Path(folder)
    sheets = folder.with_name(folder.name + "-sheets")
    sheets.mkdir(parents=True)
    for name, frame in tables.items():
        frame.to_csv(sheets / f"{name}.csv", index=False)
    hatches, samples = tables["hatches"], tables["samples"]
    sign, hours = re.search(r"([+-])(\d\d):\d\d$", hatches["started"].iloc[0]).groups()
    zone = "UTC" if int(hours) == 0 else f"Etc/GMT{'-' if sign == '+' else '+'}{int(hours)}"
    new_site(folder, name=folder.name, timezone=zone)
    usual = {"cone_volume_l": hatches["volume_ml"].median() / 1000}
    usual |= {q: hatches[q].median() for q in ("temperature_c", "salinity_ppt") if q in hatches}  # some have no meter
    usual |= {"reading_h": round(_hours(hatches, samples).median())}
    text = (folder / "qckit.toml").read_text(encoding="utf-8")
    for key, value in usual.items():
        if pd.notna(value):
            text = re.sub(rf"(?m)^{key} = [\d.]+", f"{key} = {value:.1f}", text)
    (folder / "qckit.toml").write_text(text, encoding="utf-8")
    with open_log(folder) as log:
        log.import_sheets([str(sheets / f"{t}.csv") for t in tables], by="trial", accept_good_rows=True)
    return qckit.load_site(folder)


def _hours(hatches, samples):
    """Of every count, from its column or, where no sheet says any, from the clock."""
    if "hours" in samples and samples["hours"].notna().any():
        return samples["hours"]
    started = samples["hatch"].map(hatches.set_index("hatch")["started"])
    return (pd.to_datetime(samples["taken"]) - pd.to_datetime(started)).dt.total_seconds() / 3600


# ---------------------------------------------------------------- asking


def ask_poor(site, tables, truth):
    """What is said of the one hatch, on the day of its last count."""
    from qckit.errors import InputError

    own = tables["samples"][tables["samples"]["hatch"] == truth["hatch"]]
    try:
        finding = site.poor_hatch(truth["hatch"], now=str(own["taken"].max()))
    except InputError as refusal:  # nauplii alone were counted
        return {"verdict": "refused", "headline": str(refusal), "named": [], "p_low": None, "causes": [], "none": None}
    d = finding.details
    answer = {"verdict": finding.verdict, "headline": finding.headline, "named": list(d["named"]), "p_low": d["p_low"]}
    return answer | {"causes": [(c["code"], c["probability"]) for c in d["causes"]], "none": d.get("none_probability")}


def ask_months(site, tables, _truth):
    """Every month's review, in order."""
    answers = []
    for month in sorted(set(tables["hatches"]["started"].str[:7])):
        finding = site.month(month)
        d = finding.details
        keep = {k: d[k] for k in ("period", "lots", "shifts", "signals")}
        answers.append(dict(month=month, verdict=finding.verdict, headline=finding.headline, **keep))
        site.freeze_baselines(month, by="trial", min_points=20)
    return json.loads(json.dumps(answers, default=str))


def ask(folder, only=None, names=(), keep=None):
    """Set -> name -> (truth, answer)."""
    out = {}
    with tempfile.TemporaryDirectory() as work:
        for what in ("quiet", "changes", "poor", "hidden"):
            if only not in (None, what) or not (Path(folder) / what).exists():
                continue
            for name, tables, truth in read_set(Path(folder) / what):
                if not names or name in names:
                    site = make_site(Path(keep or work) / name, tables)
                    out.setdefault(what, {})[name] = (
                        truth,
                        (ask_poor if what in ("poor", "hidden") else ask_months)(site, tables, truth),
                    )
                    print(name, end=" ", file=sys.stderr, flush=True)
    return out


# ---------------------------------------------------------------- judging


def judge_poor(truth, answer):
    """Right first, right among three, accuses, wrong; for luck and blind cases only whether a cause is claimed."""
    planted = [CODES[c["cause"]] for c in truth["causes"]]
    codes = [c for c, _p in answer["causes"]]
    accuses = answer["verdict"] in ACCUSES or bool(answer["named"])
    dismissed = answer["verdict"] in ("not-poor", "chance") and not answer["named"]
    first = answer["named"][0] if answer["named"] else next(iter(codes), "")
    any_of = set().union(*planted) if planted else set()
    return {
        "kind": truth["kind"] + (" of two" if len(planted) > 1 else ""),
        "planted": " + ".join(f"{c['cause']} {c['shown']}" for c in truth["causes"]),
        "decidable": truth["decidable"],
        "verdict": answer["verdict"],
        "named": ",".join(answer["named"]),
        "top": ",".join(f"{c} {p:.2f}" for c, p in answer["causes"][:3]),
        "first": bool(planted) and not dismissed and first in any_of,
        "three": bool(planted) and not dismissed and all(set(codes[:3]) & p for p in planted),
        "accuses": accuses,
        "wrong": accuses and first not in any_of,
        "dismissed": dismissed,
    }


def judge_change(truth, months):
    """Signalled by the end of its last month; the first claim's group or water right; its start inside the interval."""
    struck, low = set(truth["struck"]), pd.Timestamp(truth["start"])
    last = next(m["month"] for m in months if pd.Timestamp(m["period"]["last"]) > pd.Timestamp(truth["end"]))
    signals = [(m["month"], s["chart"]) for m in months for s in m["signals"] if s["hatch"] in struck]
    charts = {c for _m, c in signals} & {*truth["shows"], truth["water"]}
    claims = []
    for m in months:
        for s in m["shifts"]:
            both = len(set(s["hatches"]) & struck)
            if both >= 3 and both >= 0.5 * min(len(s["hatches"]), len(struck)):
                claims.append((m["month"], s, {d["lot"] for d in m["lots"]}))
        for d in m["lots"]:
            if truth["kind"] == "lot_ages" and d["lot"] == truth["group"] and d["slope_pct_per_30_days"] < 0:
                claims.append((m["month"], None, set()))
    first = min([m for m, c in signals if c in charts] + [c[0] for c in claims], default="")
    row = {"kind": truth["kind"], "points": round(truth["points"], 1), "share": round(truth["share"], 2), "last": last}
    row |= {"decidable": truth["decidable"], "signalled": bool(first), "in_time": bool(first) and first <= last}
    row |= {"first": first, "charts": ",".join(sorted(charts)), "claim": "", "named": None, "dated": None}
    if not claims:
        return row
    _month, s, lots = claims[0]
    if s is None:
        return row | {"claim": "drift of the lot", "named": True}
    water = [c["condition"] for c in s["conditions"]]
    alone = s["factor"] == "lot" and lots == {s["level"]}  # the only lot in use is all hatches
    wanted = {"all": [""], "counter": ["counter", "operator", "counted_by"]}.get(truth["where"], [truth["where"]])
    everyone = (
        truth["group"] == "photo" and not s["factor"]
    )  # where photos alone are counted, the camera is all of them
    named = (s["factor"] or "") in wanted and (not truth["group"] or s["level"] == truth["group"])
    named = named or everyone or (alone and truth["where"] == "all") or (bool(water) and water[0] == truth["water"])
    slack = pd.Timedelta(days=1)
    inside = pd.Timestamp(s["first_low"]) - slack <= low <= pd.Timestamp(s["first_high"]) + slack
    claim = f"{s['where']} {s['effect']:+.1f} {' '.join(water)} {str(s['first'])[:10]} (true {str(low)[:10]})"
    return row | {"claim": claim, "named": named, "dated": None if truth["slow"] else bool(inside)}


def sum_changes(rows):
    """Of the decidable changes, how many were told in time, named rightly and dated rightly."""
    use = rows[rows["decidable"]]
    out = {"decidable": len(use), "in_time": int(use["in_time"].sum())}
    for k in ("named", "dated"):
        of = use[use[k].notna()][k].astype(bool)
        out |= {k: int(of.sum()), f"{k}_of": len(of)}
    return out


def report(answers):
    """Print the rows and the figures; return the figures."""
    pd.set_option("display.width", 250, "display.max_colwidth", 90)
    out = {}
    if "quiet" in answers:
        rows = [
            {
                "site": n,
                "month": m["month"],
                "verdict": m["verdict"],
                "shifts": "; ".join(f"{s['where']} {s['effect']:+.1f}" for s in m["shifts"]),
            }
            for n, (_t, months) in answers["quiet"].items()
            for m in months
        ]
        rows = pd.DataFrame(rows)
        judged = rows[rows["verdict"] != "not-enough-evidence"]
        alarms = judged[judged["verdict"] != "in-control"]
        print(alarms.to_string(index=False))
        out["quiet"] = {"months": len(rows), "judged": len(judged), "not_in_control": len(alarms)}
    if "changes" in answers:
        rows = pd.DataFrame(
            [judge_change(t, a) for t, a in answers["changes"].values()], index=list(answers["changes"])
        )
        print(rows.to_string())
        out["changes"] = sum_changes(rows)
    if "poor" in answers:
        rows = pd.DataFrame([judge_poor(t, a) for t, a in answers["poor"].values()], index=list(answers["poor"]))
        print(rows.to_string())
        one, two = rows[rows["kind"] == "caused"], rows[rows["kind"] == "caused of two"]
        clear, mix = one[one["decidable"]], one[~one["decidable"]]
        figures = {
            "clear": len(clear),
            "clear_first": int(clear["first"].sum()),
            "clear_three": int(clear["three"].sum()),
        }
        figures |= {"mix": len(mix), "mix_first": int(mix["first"].sum()), "mix_three": int(mix["three"].sum())}
        figures |= {
            "two": len(two),
            "two_one_first": int(two["first"].sum()),
            "two_both_in_three": int(two["three"].sum()),
        }
        caused = rows[rows["kind"].str.startswith("caused")]
        figures |= {"accusations": int(caused["accuses"].sum()), "wrong": int(caused["wrong"].sum())}
        figures |= {"nothing_wrong": int(caused["dismissed"].sum())}
        for kind in ("luck", "blind"):
            part = rows[rows["kind"] == kind]
            figures |= {kind: len(part), f"{kind}_accused": int(part["accuses"].sum())}
        out["poor"] = figures
    if "hidden" in answers:
        rows = pd.DataFrame([judge_poor(t, a) for t, a in answers["hidden"].values()], index=list(answers["hidden"]))
        print(rows.to_string())
        told = rows.groupby("planted", sort=False)[["first", "three", "accuses", "wrong", "dismissed"]].sum()
        print(told.assign(of=rows.groupby("planted", sort=False).size()).to_string())
        out["hidden"] = {"of": len(rows)} | {k: int(told[k].sum()) for k in told}
    print(json.dumps(out, indent=1))
    return out


def main():
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("folder", help="as make.py writes it; or answers that --json kept, to judge them again")
    ap.add_argument("--only", choices=("quiet", "changes", "poor", "hidden"))
    ap.add_argument("--names", nargs="*", default=(), help="of single histories, such as p07")
    ap.add_argument("--keep", help="folder in which the sites stay")
    ap.add_argument("--json", help="keep the answers here")
    args = ap.parse_args()
    kept = Path(args.folder)
    if kept.is_file():
        answers = json.loads(kept.read_text(encoding="utf-8"))
    else:
        answers = ask(args.folder, args.only, args.names, args.keep)
    if args.json:
        Path(args.json).write_text(json.dumps(answers, default=str) + "\n", encoding="utf-8")
    report(answers)


if __name__ == "__main__":
    main()
