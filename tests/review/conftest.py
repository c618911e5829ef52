import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))


@pytest.fixture(scope="session")
def made_site(tmp_path_factory):
    from invented_site import make_site

    return make_site(tmp_path_factory.mktemp("review") / "site", photos=("k-121_a_1", "k-124_a_1"))


@pytest.fixture
def site(made_site, tmp_path):
    import shutil

    shutil.copytree(made_site, tmp_path / "site")
    return tmp_path / "site"


@pytest.fixture
def log(site):
    from qckit.log import open_log

    with open_log(site, now=lambda: "2026-11-04T11:00:00+00:00") as log:
        yield log
