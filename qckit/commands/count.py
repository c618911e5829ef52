"""``qckit count``: photos to counts.csv, objects.csv and checked pictures."""

from __future__ import annotations

import math
from pathlib import Path

import click

from qckit.commands._options import Number, dates_at
from qckit.errors import InputError, one_line
from qckit.stages import FULL_CYST_STAGES, STAGE_RECORDS, stage_words
from qckit.words import first_few, noun, plural

LISTED = 10


@click.command("count")
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--um-per-px", type=Number("µm/px"), help="Scale of all photos: micrometres per pixel.")
@click.option("--scales", type=click.Path(path_type=Path), help="CSV with the columns photo and um_per_px.")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder for the results.")
@click.option("--workers", type=Number(whole=True), default=1, show_default=True, help="Processes.")
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Dask scheduler to count on: tls://HOST:PORT, with the three files below, or tcp://HOST:PORT. Whoever can "
    "reach a tcp scheduler, or answers in its place, can run programs here and on its workers: use tcp only on this "
    "computer or in a closed network, and only a scheduler you trust.",
)
@click.option("--tls-ca", type=click.Path(path_type=Path), help="Certificate of who signed the scheduler's (PEM).")
@click.option("--tls-cert", type=click.Path(path_type=Path), help="Certificate to show to the scheduler (PEM).")
@click.option("--tls-key", type=click.Path(path_type=Path), help="Private key of that certificate (PEM).")
@click.option("--checked/--no-checked", default=True, help="Draw checked pictures (default) or not.")
@click.option(
    "--reader",
    type=click.Choice(["auto", "off"]),
    default="auto",
    show_default=True,
    help="Let the trained reader (a network) propose objects, or count without it.",
)
@click.option(
    "--stages",
    default="auto",
    show_default=True,
    metavar="auto|kit|FILE",
    help="Stage model: of the site --out lies in, else the kit's (auto); the kit's; a file.",
)
@click.option(
    "--region",
    metavar="'KIND X,Y X,Y ...'",
    help="Counting frame in px, the same for all photos: 'ellipse 40,20 1400,1380' (the box around a dish), "
    "'rectangle 0,0 960,1440', or 'polygon' and its corners. The photo when left out.",
)
def command(photos, um_per_px, scales, out, workers, scheduler, checked, reader, stages, region, **tls):
    """Count nauplii, umbrella stages, cysts and shells in photos.

    PHOTOS are files or folders. Writes counts.csv (a row per photo), objects.csv (a row per object) and checked/ (each
    photo with what was found). What the folder holds of other photos, counted earlier, stays in its tables; take a new
    folder for tables of these photos alone.

    Stopped and started again, it goes on where it was: the hidden folder .parts in the results keeps the count of each
    photo. It stays when all are counted, so that the same command later counts only photos that are new or changed, and
    may be deleted.
    """
    if (um_per_px is None) == (scales is None):
        wrong = "no scale is given" if scales is None else "the scale is given twice"
        raise InputError(f"{wrong}. Give either --um-per-px NUMBER or --scales FILE.csv.")
    from qckit.counting.batch.cluster import Cluster
    from qckit.counting.batch.run import CountOptions, count_photos, overall_hatch_pct
    from qckit.progress import counted as shown

    stage_model, frame = _stage_model(stages, out), _region(region)
    tls = {key.removeprefix("tls_"): str(path) for key, path in tls.items() if path}
    progress = shown("Counting photos")
    try:
        counted = count_photos(
            photos,
            um_per_px if scales is None else scales,
            workers=Cluster(scheduler, tls) if scheduler else workers,
            out_dir=out,
            checked=checked,
            progress=progress,
            options=CountOptions(reader=None if reader == "off" else reader, stage_model=stage_model, region=frame),
        )
    finally:
        progress.close()
    counts = counted.counts
    hatched = _hatched(counts, overall_hatch_pct(counts))
    click.echo(
        f"{plural(len(counts), 'photo')} counted: "
        f"{stage_words({s.name: counts[s.photo_column].sum() for s in STAGE_RECORDS})}; "
        f"{hatched}. Results in {one_line(out)}"
    )
    for folder in counted.left_out:
        click.echo(f"note: {one_line(folder)} was not searched: folders of that name hold pictures that qckit drew.")
    _say_beyond(frame, counts)
    _say_earlier(counted, out)
    flagged = counts[counts["flags"] != ""]
    for row in flagged.head(LISTED).itertuples():
        click.echo(f"  {one_line(row.photo)}: {row.why}")
    if len(flagged) > LISTED:
        click.echo(f"  and {len(flagged) - LISTED} more flagged photos: see the columns flags and why of counts.csv")
    for row in counted.failures.itertuples():
        click.echo(f"not counted: {one_line(row.message)}", err=True)
    return _last_line(counted, len(flagged))


def _hatched(counts, pct: float) -> str:
    """Say the percentage over all photos, and how many of those with something to take it of give none."""
    full = counts[[s.photo_column for s in STAGE_RECORDS if s.name in FULL_CYST_STAGES]].sum(axis=1) > 0
    withheld = int((full & counts["hatch_pct"].isna()).sum())
    if math.isnan(pct):
        why = "what looks like no hatch sample gives none" if withheld else "there is nothing to take it of"
        return f"no hatching percentage, as {why}"
    without = f", without {plural(withheld, 'photo')} that {noun(withheld, 'looks', 'look')} like no hatch sample"
    return f"hatched {pct:.1f} %{without if withheld else ''}"


def _region(words: str | None) -> dict | None:
    """The counting frame in words, read."""
    if words is None:
        return None
    from qckit.counting.regions import read_region_words

    region = read_region_words(words.strip().removesuffix("px").strip() + " px")
    if region is None:
        raise InputError(
            f"--region {one_line(words)!r} is no counting frame. Give a kind and corners in px, such as "
            "'ellipse 40,20 1400,1380'."
        )
    return region


def _say_beyond(region: dict | None, counts) -> None:
    """Name the photos that do not hold the whole counting frame."""
    from qckit.counting.regions import reaches_beyond

    beyond = [
        r for r in counts.itertuples() if region and reaches_beyond(region, width_px=r.width_px, height_px=r.height_px)
    ]
    if beyond:
        n, first = len(beyond), beyond[0]
        more = f" and {n - 1} more" if n > 1 else ""
        click.echo(
            f"note: the region lies partly off {one_line(first.photo)} ({first.width_px} x {first.height_px} px)"
            f"{more}; only what the photo shows of it was counted."
        )


def _say_earlier(counted, out: Path) -> None:
    """Say what became of counts that lay in the folder already."""
    if counted.kept:
        n = len(counted.kept)
        click.echo(
            f"note: the tables in {one_line(out)} also keep {plural(n, 'photo')} counted earlier: "
            f"{_named(counted.kept)}. For tables of these photos alone give another --out."
        )
    if counted.replaced:
        click.echo(
            f"note: replaced, as another photo of the same name was counted into {one_line(out)} before: "
            f"{_named(counted.replaced)}"
        )


def _named(photos) -> str:
    return first_few(map(one_line, photos), LISTED)


def _stage_model(stages: str, out: Path) -> Path | None:
    """File of the stage model to use; None for the kit's own. Says so where it is a site's."""
    if stages not in ("auto", "kit"):
        return Path(stages)
    if stages == "kit":
        return None
    from qckit.review import site_stage_model
    from qckit.settings import SETTINGS_FILE

    places = [p for p in (out.resolve(), *out.resolve().parents) if (p / SETTINGS_FILE).is_file()]
    model = site_stage_model(places[0]) if places else None
    if model:
        click.echo(one_line(dates_at(places[0]).text(model.sentence)))
    return model.path if model else None


def _last_line(counted, n_flagged: int) -> int:
    """Say what needs attention, and return the exit code."""
    if len(counted.failures) and counted.counts.empty:
        raise InputError(
            f"no photo could be counted ({len(counted.failures)} tried). {counted.failures.message.iloc[0]}"
        )
    needs, n = [], len(counted.failures)
    if n:
        needs.append(f"{plural(n, 'photo')} could not be counted")
    if n_flagged:
        needs.append(f"{plural(n_flagged, 'photo')} {noun(n_flagged, 'carries', 'carry')} a flag")
    if needs:
        click.echo(f"Needs attention: {', and '.join(needs)} (named above).", err=True)
    return 1 if needs else 0
