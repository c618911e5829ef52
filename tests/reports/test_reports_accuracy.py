"""The reports on a month and on a poor hatch cite the certificate of the camera whose photos were counted."""

import html
import re

import pandas as pd
import pytest

from qckit.agreement import certify_camera
from qckit.log import new_site, open_log
from qckit.practice import POOR_HATCH, invented_history
from qckit.reports import certificates_of, cite_certificates, run_report

pytestmark = pytest.mark.usefixtures("warm_kernels")
NOW = "2026-11-06T10:00:00+00:00"
MADE = "Certificate demo 2026-10-01, made 2026-10-01, check again by 2027-04-01."


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The last forty hatches of the invented site, and a camera checked against counts by eye."""
    history = invented_history()
    last = history["hatches"].sort_values("started").tail(40)["hatch"]
    history |= {t: history[t][history[t]["hatch"].isin(last)] for t in ("hatches", "samples", "readings")}
    eye = pd.DataFrame({"photo": [f"P{i}" for i in range(12)], "nauplii": 50, "umbrella": 3, "cysts": 12, "shells": 40})
    kit = eye.assign(nauplii=[45, 46, 44, 47, 45, 46, 45, 44, 46, 45, 47, 45])
    made = certify_camera(kit, eye, camera="demo", made_at="2026-10-01T09:00:00+00:00", made_by="op2")
    folder = tmp_path_factory.mktemp("accuracy") / "site"
    new_site(folder)
    with open_log(folder) as log:
        log.add_many(history | {"certificates": made.to_frame()}, by="op1", source="invented")
    return folder


def method_of(run):
    """Return the words of a page's Method part."""
    page = run.html.read_text(encoding="utf-8")
    part = page[re.search(r"<h2[^>]*>Method", page).start() : re.search(r"<h2[^>]*>Raw table", page).start()]
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", part)).split())


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "subject"), [("month", {"month": "2026-11"}), ("poor-hatch", {"hatch": POOR_HATCH})])
def test_the_certificate_stands_in_the_method_part(site, kind, subject):
    text = method_of(run_report(kind, site, subject, now=NOW))
    assert "Certificate demo 2026-10-01: 12 photos counted by the kit and by eye (op2)." in text
    assert MADE in text
    assert "Figures of this page are corrected by the certificate; tables of subsamples are as counted." in text


def cited(site, samples=None, now=NOW, certificates=True):
    with open_log(site) as log:
        samples = log.samples(hatch=POOR_HATCH) if samples is None else samples(log)
        if not certificates:
            log.certificates = lambda: pd.DataFrame()
        return cite_certificates(certificates_of(log, samples, now=now), whose="this hatch").text


def test_a_certificate_past_its_date_says_so(site):
    assert "It was to be checked again by 2027-04-01, so counts are not corrected by it" in cited(
        site, now="2027-06-01T10:00:00+00:00"
    )
    assert "It was to be checked again by" not in cited(site, now="")


def test_without_a_certificate_the_reader_is_told_how_to_come_by_one(site):
    assert cited(site, certificates=False) == (
        "Nobody has checked this site's photo counts against counts by eye, so how many animals the kit misses or "
        "mistakes is not known. Count ten photos by eye and run  qckit camera check."
    )


def test_counts_by_a_person_need_no_certificate(site):
    said = cited(site, lambda log: log.samples(hatch=POOR_HATCH).assign(counted_by="person"))
    assert said == "No photo was counted for this hatch, so no camera's certificate is needed."


def test_photos_of_two_cameras_are_cited_apart(site):
    class Log:
        """Two cameras with a scale each; only the first was checked."""

        def photos(self):
            return pd.DataFrame(
                {"photo": ["a", "b"], "sample": ["S1", "S2"], "um_per_px": [6.2, 3.1], "counter_version": ["1", "1"]}
            )

        def scales(self):
            return pd.DataFrame({"camera": ["demo", "phone"], "magnification": ["", ""], "um_per_px": [6.2, 3.1]})

        def certificates(self):
            with open_log(site) as log:
                return log.certificates()

    samples = pd.DataFrame({"sample": ["S1", "S2"], "counted_by": "photo", "taken": NOW})
    uses = certificates_of(Log(), samples)
    assert [use.certificate.name if use.certificate else "" for use in uses] == ["demo 2026-10-01", ""]
    assert uses[1].sentence.startswith("Photo counts of the camera phone have not been checked against counts by eye")
