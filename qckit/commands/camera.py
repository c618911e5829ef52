"""``qckit camera …``: a camera's scale, and how well the kit counts with it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from qckit.commands._options import BY, SITE, Commands, Number, dates_at, open_site_log, who
from qckit.commands.typed import as_typed
from qckit.errors import InputError, unknown_name
from qckit.words import day, plural, with_uncertainty

_CAMERA = click.option("--camera", default="", metavar="NAME", help="Keep it in the site's log under this camera.")
_CAMERA_TO_LEARN = click.option("--camera", default="", metavar="NAME", help="Learn from this camera's photos only.")
_MAGNIFICATION = click.option("--magnification", default="", metavar="NAME", help="And this magnification.")


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


@click.group("camera", cls=Commands)
def command():
    """Set a camera's scale; check its accuracy against counts by eye; compare people who count."""


@command.command("scale")
@click.argument("photo", type=click.Path())
@click.option(
    "--method",
    type=click.Choice(["stage micrometer", "ruled chamber", "woven sieve", "two points"]),
    default="ruled chamber",
    show_default=True,
    help="What is on the photo.",
)
@click.option(
    "--spacing-um",
    required=True,
    type=Number("µm"),
    help="One division, one square, opening plus wire, or the two points' distance, in µm.",
)
@click.option("--u-spacing-um", default=0.0, type=Number("µm"), help="Standard uncertainty of that, in µm.")
@click.option(
    "--point",
    "points",
    multiple=True,
    nargs=2,
    type=Number("px"),
    metavar="X Y",
    help="A point in pixels of the upright photo; give two.",
)
@click.option("--about", type=Number("µm/px"), help="Rough µm per pixel, where finer lines lie inside the squares.")
@click.option("--picture", type=click.Path(), help="Write the photo with the lines found, to approve it by.")
@_CAMERA
@_MAGNIFICATION
@SITE
@BY
def scale(photo, method, spacing_um, u_spacing_um, points, about, picture, camera, magnification, site, by):
    """Find µm per pixel on a PHOTO of something of known size.

    With --camera and --magnification it is kept in the site's log. Look at --picture first.
    """
    from qckit.log.problems import mending
    from qckit.review import measure_scale, save_scale
    from qckit.review.camera import kept_scale, say_alike, say_other_scale

    measured = measure_scale(
        photo,
        method=method,
        spacing_um=spacing_um,
        u_spacing_um=u_spacing_um,
        points=points or None,
        about_um_per_px=about,
    )
    click.echo(measured.sentence)
    if measured.scale.needs_about:
        click.echo("A rough scale is given with  --about UM_PER_PX .")
    if picture:
        _save_picture(measured.picture, picture)
        click.echo(f"{picture}: the dashed lines must lie on the pattern's own lines.")
    if camera or magnification:
        with open_site_log(site) as log:
            other = say_other_scale(measured.scale, kept_scale(log, camera, magnification))
            alike = say_alike(log, measured.scale, camera, magnification)
            save_scale(log, measured, camera=camera, magnification=magnification, by=who(by))
            key = tuple(kept_scale(log, camera, magnification)[["camera", "magnification", "set_at"]])
        click.echo(f"Kept for {camera} {magnification}.")
        if other:
            click.echo(f"{camera} {magnification} {other} Where the camera was not changed, one of them is wrong.")
        for sentence in alike:
            click.echo(sentence)
        if alike:
            click.echo(f"If it was kept by mistake:  {mending('withdraw', 'scales', key)}")
        if other or alike:
            return 1
    return 1 if measured.scale.notes else 0


def _save_picture(picture, path):
    try:
        picture.save(path)
    except (OSError, ValueError) as error:
        raise InputError(
            f"{path}: the picture cannot be written there: {error}. Give a .jpg or .png in a folder that exists."
        ) from error


@command.command("scales-file")
@click.argument("photos", nargs=-1, required=True, type=click.Path())
@click.option("--camera", required=True, metavar="NAME")
@click.option("--magnification", required=True, metavar="NAME")
@click.option("--out", required=True, type=click.Path(), help="CSV to write, for  qckit count --scales")
@SITE
def scales_file(photos, camera, magnification, out, site):
    """Write the kept scale of a camera beside each of PHOTOS, for  qckit count --scales."""
    from qckit.review import scale_for, write_scales

    with open_site_log(site) as log:
        row, order = scale_for(log, camera, magnification), log.settings.site.date_order
    path = write_scales([Path(p) for p in photos], row["um_per_px"], out)
    click.echo(f"{path}: {row['um_per_px']:g} µm per pixel, set {day(row['set_at'], order)} by {row['set_by']}.")


@command.command("list")
@SITE
def list_cameras(site):
    """List the scales and certificates kept, and what is due to be checked again."""
    from qckit.review import site_stage_model

    with open_site_log(site) as log:
        scales, certificates, site_model = log.scales(), log.certificates(), site_stage_model(log.folder)
        order = log.settings.site.date_order
    if site_model is not None:
        click.echo(f"models       {dates_at(site).text(site_model.sentence)}")
    if scales.empty and certificates.empty:
        click.echo("No scale and no certificate is kept yet. Make one with  qckit camera scale")
        return 0
    for row in scales.itertuples():
        click.echo(
            f"scale        {row.camera} {row.magnification}: "
            f"{with_uncertainty(row.um_per_px, row.u_um_per_px, 'µm/px')}, "
            f"{row.method}, set {day(row.set_at, order)} by {row.set_by}"
        )
    return _list_certificates(certificates, site_model, order)


def _list_certificates(certificates, site_model, order) -> int:
    """Say of each camera's certificate until when it holds, or why not; exit code 1 where one does not."""
    from qckit.agreement import newest_certificates
    from qckit.counting import model_key
    from qckit.counting.result import version_with

    version = version_with(model_key(str(site_model.path)) if site_model else "")
    newest = newest_certificates(certificates, counter_version=version, today=_now()[:10])
    for row in newest.itertuples():
        of_other = f" (made with counter {row.counter_version}; photos are counted with {version} now)"
        state = " (overdue)" if row.is_late else "" if row.is_of_counter else of_other
        until = day(row.valid_until, order)
        click.echo(f"certificate  {row.certificate}: {row.n_photos} photos, check again by {until}{state}")
    late, other = int(newest["is_late"].sum()), int((~newest["is_of_counter"] & ~newest["is_late"]).sum())
    if late:
        click.echo(f"{plural(late, 'certificate')} overdue: count photos by eye again and run  qckit camera check")
    if other:
        click.echo(
            f"{plural(other, 'certificate')} of another counter, by which new counts are not corrected: let the kit "
            "count photos that were counted by eye again (none that it learnt from) and run  qckit camera check"
        )
    return 1 if late or other else 0


@command.command("check")
@click.argument("hand", type=click.Path())
@click.argument("counted", type=click.Path())
@click.option("--camera", required=True, metavar="NAME")
@_MAGNIFICATION
@click.option("--kind", default="", help="Kind of photo, such as bright field.")
@click.option("--um-per-px", type=Number("µm/px"), help="Scale, if counts.csv has none.")
@click.option("--keep/--no-keep", default=False, help="Keep the certificate in the site's log.")
@SITE
@BY
def check(hand, counted, camera, magnification, kind, um_per_px, keep, site, by):
    """Compare counts by eye (HAND, a CSV) with those of the kit (COUNTED, a folder of  qckit count).

    HAND has a row per photo (photo, nauplii, umbrella, cysts, shells) or a row per object (photo, stage, x_px, y_px).
    By eye, count what the kit counts: leave out whatever touches the left or the upper edge of the photo, count what
    touches the right or the lower edge.

    3 photos are the least that say anything; 10 are better. With --keep, and from 6 photos on, the check becomes a
    certificate by which reports correct counts of this camera. Counts by eye that are mistyped or stand at the wrong
    photo or stage are named, and nothing is kept. Exit code 0: fit for use.
    """
    from qckit.review import check_camera, save_certificate
    from qckit.review.check_photos import mark_learnt, mark_scale

    checked = check_camera(
        hand,
        counted,
        camera=camera,
        magnification=magnification,
        kind=kind,
        um_per_px=um_per_px,
        by=who(by),
        made_at=_now(),
    )
    checked = mark_scale(mark_learnt(checked, counted, _site_model(site)), counted, _site_scales(site))
    dates = dates_at(site)
    for line in checked.sentences:
        click.echo(dates.text(line))
    if not checked.may_be_kept:
        with_why = keep or checked.certificate.is_too_small or checked.learnt or checked.other_scale
        click.echo(checked.why_not_kept if with_why else "Not to be kept.")
        return 1
    if keep:
        with open_site_log(site) as log:
            kept = save_certificate(log, checked, by=who(by))
        click.echo(f"Kept as {kept.name}.")
        return int(checked.certificate.fitness != "fit")
    if checked.certificate.fitness == "not fit":
        click.echo("Not kept: mend what stands against this camera, count anew, and check again.")
        return 1
    options = {
        "--camera": camera,
        "--magnification": magnification,
        "--kind": kind,
        "--um-per-px": um_per_px,
        "--by": by,
        "--site": site or _site_to_name(),
    }
    words = [str(word) for option, value in options.items() if value for word in (option, value)]
    again = as_typed(hand, counted, *words, "--keep")
    click.echo(f"Not kept. To keep it, so that reports use it:  qckit camera check {again}")
    return int(checked.certificate.fitness != "fit")


def _site_scales(site):
    """Scales kept in the site that is named, or that we are in; None where there is no site."""
    try:
        with open_site_log(site) as log:
            return log.scales()
    except InputError:
        if site:
            raise
        return None


def _site_model(site):
    """Models of the site that is named, or that we are in; None where there is no site."""
    from qckit.reports import find_site
    from qckit.review import site_stage_model

    try:
        folder = find_site(site)
    except InputError:
        if site:
            raise
        return None
    return site_stage_model(folder)


def _site_to_name() -> str:
    """Nothing where we are in a site; else the word that stands for its folder."""
    from qckit.reports import find_site

    try:
        find_site()
    except InputError:
        return "FOLDER"
    return ""


@command.command("learn")
@click.option("--try", "only_try", is_flag=True, help="Say how it would do, and change nothing.")
@click.option("--undo", is_flag=True, help="Go back to the version before; in the end the kit's own models count.")
@click.option("--next", "which_next", is_flag=True, help="Name the photos that help most when settled, and stop.")
@click.option("--curve/--no-curve", default=True, help="Also work out how many settled photos help how much.")
@_CAMERA_TO_LEARN
@_MAGNIFICATION
@SITE
@BY
def learn(only_try, undo, which_next, curve, camera, magnification, site, by):
    """Learn this camera from photos whose objects people have settled: 3 to 8 are enough.

    An object is settled in the notebook count_photos.ipynb: set its stage, or press Enter where it is right. --next
    names the photos that are worth it most.

    Each photo is left out in turn and counted by the kit's own models and by those learnt from the others. What is
    learnt takes their place only if at least two objects fewer come out wrong; from then on photos counted in this site
    use it. Otherwise the kit's own models stay in force. From 6 photos with every object settled a certificate is made,
    as by camera check, of the models that count from then on; with fewer, run camera check afterwards: a certificate
    made before learning does not speak for photos counted after it.
    """
    from qckit.reports import find_site
    from qckit.review import learn_camera_of_site, photos_to_settle, site_stage_model, undo_site_model
    from qckit.review.settled import say_none_counted

    if undo:
        now = undo_site_model(find_site(site))
        click.echo(dates_at(site).text(now.sentence) if now else "The kit's own models count again.")
        return 0
    with open_site_log(site) as log:
        if which_next:
            some = photos_to_settle(log, camera=camera, magnification=magnification)
            if some:
                click.echo("Settle next: " + ", ".join(some))
            elif log.photos().empty:
                click.echo(say_none_counted(log))
            else:
                click.echo("Every counted photo has settled objects.")
            return 0
        done = learn_camera_of_site(
            log,
            by=who(by),
            keep=not only_try,
            camera=camera,
            magnification=magnification,
            curve=curve,
            progress=_say_step,
        )
        for row in done.photos.itertuples():
            click.echo(f"  {row.photo}: {row.n_settled} settled, wrong {row.wrong_before} -> {row.wrong_after}")
        for line in done.sentences:
            click.echo(dates_at(site).text(line))
        now = site_stage_model(log.folder)
        if done.model is None and now is not None:
            click.echo(f"In use as before: {dates_at(site).text(now.sentence)}")
    return 0


def _say_step(done, total, words):
    click.echo(f"{done} of {total}: {words}", err=True)


@command.command("people")
@click.argument("study", type=click.Path())
@click.option("--value", default="hatch_pct", show_default=True, help="Column to judge.")
@click.option("--method", type=click.Choice(["anova", "range"]), default="anova", show_default=True)
def people(study, value, method):
    """Compare people: STUDY is a CSV with photo, counter and the counted stages, every photo counted again by each.

    hatch_pct is worked out from nauplii, umbrella and cysts where the file does not hold it.
    """
    from qckit.agreement import gauge_study, say_gauge
    from qckit.review import read_study

    got = gauge_study(read_study(study, value), value=value, method=method)
    click.echo(f"{got.n_parts} photos, {got.n_appraisers} people, {got.n_trials} counts each ({got.method}).")
    for line in say_gauge(got, unit="points of H%" if value == "hatch_pct" else value):
        click.echo(line)


@command.command("certificate")
@click.argument("name")
@click.option("--out", type=click.Path(), help="Write it as a page to print; left out: say it here.")
@SITE
def certificate(name, out, site):
    """Show a kept certificate, by its NAME or its camera's (then the newest)."""
    from qckit.agreement import read_certificate
    from qckit.directions import isolate_names
    from qckit.files import write_whole
    from qckit.review import certificate_page

    with open_site_log(site) as log:
        kept, dates = log.certificates(), dates_at(site)
    mine = kept[(kept["certificate"] == name) | (kept["camera"] == name)]
    if mine.empty:
        raise unknown_name("certificate", name, [*kept["certificate"], *kept["camera"].drop_duplicates()])
    made = read_certificate(mine.loc[mine["made_at"].idxmax()])
    if not out:
        for line in made.sentences:
            click.echo(dates.text(line))
        return 0
    try:
        write_whole(out, dates.page(isolate_names(certificate_page(made))))
    except OSError as error:
        raise InputError(f"{out}: the page cannot be written there: {error}. Give a folder that exists.") from error
    click.echo(f"{out}: certificate {made.name}.")
    return 0
