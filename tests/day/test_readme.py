"""The page in a site's folder: renewed by the kit as long as nobody changed it."""

import pytest

from qckit.day import readme
from qckit.day.founding import found_site
from qckit.day.readme import renew_readme
from qckit.settings import SETTINGS_FILE


@pytest.fixture
def site(tmp_path):
    return found_site(tmp_path / "site")


def page(site):
    return (site / "README.txt").read_text(encoding="utf-8")


def test_it_follows_the_settings_and_the_version(site, monkeypatch):
    first = page(site)
    renew_readme(site)
    assert page(site) == first
    settings = site / SETTINGS_FILE
    settings.write_text(
        settings.read_text(encoding="utf-8").replace('count_at = "09:00"', 'count_at = "07:45"'), encoding="utf-8"
    )
    renew_readme(site)
    assert "counts at 07:45" in page(site)
    monkeypatch.setattr(readme, "__version__", "9.9.9")
    renew_readme(site)
    assert "Written by qckit 9.9.9" in page(site)
    assert sorted(path.name for path in site.glob("README*")) == ["README.txt"]


def test_one_that_a_person_changed_stays(site, monkeypatch):
    own = page(site).replace("EACH DAY", "EACH DAY, before eight")
    (site / "README.txt").write_text(own, encoding="utf-8")
    monkeypatch.setattr(readme, "__version__", "9.9.9")
    renew_readme(site)
    assert page(site) == own


def test_one_without_the_last_line_is_kept_beside_the_new_one_once(site):
    (site / "README.txt").write_text("an old page\n", encoding="utf-8")
    renew_readme(site)
    assert "EACH DAY" in page(site)
    assert (site / "README-before.txt").read_text(encoding="utf-8") == "an old page\n"
    (site / "README.txt").write_text("a page of our own\n", encoding="utf-8")
    renew_readme(site)
    assert page(site) == "a page of our own\n"
    assert (site / "README-before.txt").read_text(encoding="utf-8") == "an old page\n"


def test_the_upgrade_renews_it(site, run):
    (site / "README.txt").write_text("an old page\n", encoding="utf-8")
    assert run("log", "upgrade", "--site", str(site))[0] == 0
    assert "EACH DAY" in page(site)
