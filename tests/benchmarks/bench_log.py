"""Time the log with a million objects and 50,000 samples (invented data).

Run:  python tests/benchmarks/bench_log.py [FOLDER] [--url postgresql+psycopg://…/EMPTY_DATABASE]

Prints the seconds of: entering it all, as years of field sheets and one enormous count; then, in that log, importing
a day's field sheet, recording the count of one more photo, reading a month, tracing one hatch; with the query plans
that say which index serves each.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
import sqlalchemy as sa

from qckit.log import new_site, open_log
from qckit.stages import STAGES

N_LOTS, N_HATCHES, N_SAMPLES, N_PHOTOS, N_PER_PHOTO = 20, 12_500, 50_000, 10_000, 100
LIMIT_S = 2.0


def invented_years(rng) -> dict[str, pd.DataFrame]:
    """Invent lots, hatches and samples counted by persons or photos."""
    start = pd.Timestamp("2018-01-01T09:00:00+00:00")
    started = start + pd.to_timedelta(np.arange(N_HATCHES) * 6, unit="h")
    lots = pd.DataFrame({"lot": [f"L-{i:03d}" for i in range(N_LOTS)]})
    hatches = pd.DataFrame(
        {
            "hatch": [f"H-{i:06d}" for i in range(N_HATCHES)],
            "lot": [f"L-{i * N_LOTS // N_HATCHES:03d}" for i in range(N_HATCHES)],
            "purpose": "production",
            "cone": [("A", "B", "C", "D")[i % 4] for i in range(N_HATCHES)],
            "started": started.strftime("%Y-%m-%dT%H:%M:%S+00:00"),
            "cysts_g": 40.0,
            "volume_ml": 20000.0,
            "temperature_c": rng.normal(28, 0.3, N_HATCHES).round(1),
        }
    )
    of = np.arange(N_SAMPLES) * N_HATCHES // N_SAMPLES
    by_photo = np.arange(N_SAMPLES) < N_PHOTOS
    taken = (started[of] + pd.Timedelta(hours=24)).strftime("%Y-%m-%dT%H:%M:%S+00:00")
    samples = pd.DataFrame(
        {
            "sample": [f"S-{i:06d}" for i in range(N_SAMPLES)],
            "hatch": hatches["hatch"].to_numpy()[of],
            "taken": taken,
            "kind": "subsample",
            "volume_ul": np.where(by_photo, np.nan, 250.0),
            "chamber_depth_mm": np.where(by_photo, 1.0, np.nan),
            "dilution": 1.0,
            "nauplii": pd.array(np.where(by_photo, None, rng.poisson(100, N_SAMPLES)), dtype="Int64"),
            "cysts": pd.array(np.where(by_photo, None, rng.poisson(20, N_SAMPLES)), dtype="Int64"),
            "counted_by": np.where(by_photo, "photo", "person"),
            "photos": [f"P-{i:06d}.jpg" if photo else None for i, photo in enumerate(by_photo)],
        }
    )
    return {"lots": lots, "hatches": hatches, "samples": samples}


def invented_count(rng, first: int, n_photos: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Invent what a counter gives for some photos."""
    names = [f"P-{i:06d}.jpg" for i in range(first, first + n_photos)]
    photos = pd.DataFrame(
        {
            "photo": names,
            "sha256": [f"{i:064x}" for i in range(first, first + n_photos)],
            "um_per_px": 6.2,
            "frame_mm2": 106.3,
            "counter_version": "bench",
        }
    )
    n = n_photos * N_PER_PHOTO
    objects = pd.DataFrame(
        {
            "photo": pd.Series(np.repeat(names, N_PER_PHOTO), dtype="str"),
            "object_id": pd.array(np.tile(np.arange(1, N_PER_PHOTO + 1), n_photos), dtype="Int64"),
            "stage": pd.Series(rng.choice(STAGES, n, p=(0.5, 0.02, 0.1, 0.38)), dtype="str"),
            **{f"p_{s}": rng.random(n).round(4) for s in (*STAGES, "debris")},
            "x_px": (rng.random(n) * 1920).round(1),
            "y_px": (rng.random(n) * 1440).round(1),
            "length_um": rng.normal(400, 40, n).round(1),
            "width_um": rng.normal(200, 20, n).round(1),
            "area_um2": rng.normal(6e4, 5e3, n).round(0),
            "on_edge": pd.array(np.zeros(n, bool), dtype="boolean"),
            "counted": pd.array(np.ones(n, bool), dtype="boolean"),
            "source": pd.Series(["found"] * n, dtype="str"),
        }
    )
    return photos, objects


def timed(label: str, action, *, limit_s: float | None = None):
    """Run an action, print its seconds and return (seconds, result)."""
    begin, cpu = time.perf_counter(), time.process_time()
    result = action()
    seconds, cpu = time.perf_counter() - begin, time.process_time() - cpu
    limit = "" if limit_s is None else f"   (limit {limit_s:g} s)"
    print(f"{label:<66}{seconds:7.2f} s, {cpu:5.2f} s of this program's own{limit}")
    return seconds, result


def day_sheet(folder: Path) -> list[Path]:
    """Write a day's field sheet: four hatches, sixteen samples, in the site's order of dates."""
    hatches = pd.DataFrame(
        {
            "hatch": [f"NEW-{c}" for c in "ABCD"],
            "lot": "L-019",
            "purpose": "production",
            "cone": list("ABCD"),
            "started": "2026-11-03 09:00",
            "cysts_g": "40,5",
            "volume_ml": "20 000",
            "temperature_c": "82,4 °F",
        }
    )
    samples = pd.DataFrame(
        {
            "sample": [f"NEW-{c}-{i}" for c in "ABCD" for i in range(4)],
            "hatch": [f"NEW-{c}" for c in "ABCD" for _ in range(4)],
            "taken": "2026-11-04 09:00",
            "kind": "subsample",
            "volume_ul": "250",
            "nauplii": "101",
            "cysts": "17",
            "counted_by": "person",
        }
    )
    samples.loc[15, ["volume_ul", "nauplii", "cysts"]] = None
    samples.loc[15, ["counted_by", "photos", "chamber_depth_mm"]] = ["photo", f"P-{N_PHOTOS:06d}.jpg", 1]
    paths = [folder / "hatches.csv", folder / "samples.csv"]
    hatches.to_csv(paths[0], sep=";", index=False)
    samples.to_csv(paths[1], sep=";", index=False)
    return paths


def explain(log, title: str, statement) -> None:
    """Print which index serves a query."""
    text = statement.compile(log.engine, compile_kwargs={"literal_binds": True}).string
    how = "EXPLAIN QUERY PLAN " if log.engine.dialect.name == "sqlite" else "EXPLAIN "
    with log.engine.connect() as connection:
        plan = connection.exec_driver_sql(how + text.replace("%", "%%")).fetchall()
    print(f"  {title}: " + "; ".join(str(row[-1]).strip() for row in plan))


def explain_all(log) -> None:
    """Print the plans of the queries that a log of this size needs an index for."""
    from qckit.log import schema

    t, fixes = schema.table, schema.CORRECTIONS
    print("indexes:")
    span = t("hatches").c.started_utc.between("2019-03-01", "2019-04-01")
    explain(log, "hatches of a month", sa.select(t("hatches")).where(span))
    explain(log, "hatches of a lot", sa.select(t("hatches")).where(t("hatches").c.lot == "L-003"))
    explain(log, "samples of a hatch", sa.select(t("samples")).where(t("samples").c.hatch == "H-001200"))
    explain(log, "photos of a sample", sa.select(t("photos")).where(t("photos").c.sample == "S-004800"))
    explain(log, "objects of a photo", sa.select(t("objects")).where(t("objects").c.photo == "P-004800.jpg"))
    explain(log, "photos of a hash", sa.select(t("photos")).where(t("photos").c.sha256 == "0"))
    of_photo = (fixes.c.table == "objects") & (fixes.c.key1 == "P-004800.jpg")
    explain(log, "corrections of a photo's objects", sa.select(fixes).where(of_photo))


def enter_years(log, folder: Path, rng) -> None:
    """Enter all of it: the sheets as CSV, the way a user has, and the count."""
    paths = []
    for name, frame in invented_years(rng).items():
        paths.append(folder / f"{name}.csv")
        frame.to_csv(paths[-1], index=False)
    photos, objects = invented_count(rng, 0, N_PHOTOS)
    timed(
        f"import sheets of {N_HATCHES:,} hatches and {N_SAMPLES:,} samples",
        lambda: log.import_sheets(paths, by="bench"),
    )
    timed("import the same sheets again", lambda: log.import_sheets(paths, by="bench"))
    timed(
        f"enter the counts of {N_PHOTOS:,} photos, {len(objects):,} objects",
        lambda: log.record_counts(photos, objects=objects, by="bench"),
    )


def main(folder: Path, url: str) -> int:
    """Build the log, time it, and return the number of limits that were broken."""
    rng = np.random.default_rng(20261104)
    site = new_site(folder / "site", url=url)
    with open_log(site) as log:
        enter_years(log, folder, rng)
    seconds = {}
    with open_log(site) as log:
        day = folder / "day"
        day.mkdir()
        paths = day_sheet(day)

        def limited(name, label, action):
            seconds[name], result = timed(label, action, limit_s=LIMIT_S)
            return result

        limited("sheet", "import a day's sheet into that log", lambda: log.import_sheets(paths, by="bench"))
        again = limited("again", "import the same sheet again", lambda: log.import_sheets(paths, by="bench"))
        assert not any(again.added.values())
        photo, found = invented_count(rng, N_PHOTOS, 1)
        limited("count", "record one more photo", lambda: log.record_counts(photo, objects=found, by="bench"))
        hatches = limited("hatches", "read a month's hatches", lambda: log.hatches(month="2019-03"))
        samples = limited("samples", "read a month's samples", lambda: log.samples(month="2019-03"))
        names = hatches["hatch"].tolist()
        objects = limited("objects", "read that month's objects", lambda: log.objects(hatch=names))
        history = limited("history", "trace one hatch", lambda: log.history("H-001200").text)
        print(
            f"month: {len(hatches)} hatches, {len(samples)} samples, {len(objects):,} objects; history: "
            f"{len(history.splitlines())} lines"
        )
        if not url:
            print(f"log: {(site / 'log.sqlite').stat().st_size / 1e6:.0f} MB")
        explain_all(log)
    broken = [name for name, s in seconds.items() if s > LIMIT_S]
    print("all within the limit" if not broken else f"over the limit: {', '.join(broken)}")
    return len(broken)


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("folder", nargs="?", type=Path)
    asked.add_argument("--url", default="")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as place:
        sys.exit(main(given.folder or Path(place), given.url))
