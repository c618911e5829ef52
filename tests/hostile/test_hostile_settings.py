"""Settings and packages as slips, other programs and ill will make them: one line each, nothing half done."""

import copy
import json
import zipfile
from pathlib import Path

import pytest

from qckit.log import export_zip, new_site, open_log

SETTINGS = {
    "a number for a zone": "[site]\ntimezone = 5\n",
    "a list for a table": "site = [1, 2]\n",
    "a list for a name": '[site]\nname = ["a"]\n',
    "a table for a name": "[site]\nname = {a = 1}\n",
    "digits without end": f"[feed]\nmax_g_per_l = {'9' * 400}\n",
    "infinite": "[feed]\nmax_g_per_l = inf\n",
    "not a number": "[feed]\nmax_g_per_l = nan\n",
    "yes for a number": "[feed]\nmax_g_per_l = true\n",
    "a day for a number": "[feed]\nmax_g_per_l = 2026-01-01\n",
    "below nothing": "[feed]\nmax_g_per_l = -5\n",
    "a slip in a key": '[site]\nnaem = "x"\n',
    "an order of nobody": '[site]\ndate_order = "ymdd"\n',
    "a zone of nowhere": '[site]\ntimezone = "Mars/Base"\n',
    "nested without end": f"a = {'[' * 5000}{']' * 5000}",
    "twice": '[site]\nname = "x"\n[site]\nname = "y"\n',
    "a password in the address": '[log]\nurl = "postgresql://u:hunter2@h:99999/x"\n',
    "a number for an address": "[log]\nurl = 5\n",
    "another file as the log": '[log]\nurl = "sqlite:////etc/hostname"\n',
    "half a letter": b'[site]\nname = "\xed\xa0\x80"\n',
    "all bytes": bytes(range(256)),
    "UTF-16": '[site]\nname = "x"\n'.encode("utf-16"),
    "a NUL": '[site]\nname = "x"\n\0',
}
HARMLESS = {
    "nothing": "",
    "line ends of Windows": '[site]\r\nname = "x"\r\n',
    "tabs": '[site]\n\tname\t=\t"x"\n',
    "signs that steer": '[site]\nname = "a\\u001b[31m\\u202e"\n',
}


@pytest.mark.parametrize("name", [*SETTINGS, *HARMLESS])
def test_settings(tmp_path, run, name):
    site = new_site(tmp_path / "site", name="bed", timezone="Europe/Lisbon")
    text = (SETTINGS | HARMLESS)[name]
    (site / "qckit.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    before = (site / "log.sqlite").read_bytes()
    code, out, err = run("log", "check", "--site", site)
    assert "hunter2" not in out + err
    assert code == (2 if name in SETTINGS else 0), err
    assert not set(out + err) & set("\x1b\x07\u202e")
    if code:
        assert err.startswith("qckit: ") and err.count("\n") == 1
        assert (site / "log.sqlite").read_bytes() == before


def changed(value):
    """Return a change of a package's description: every table's part gets a value."""
    return lambda meta: [resource.update(value) for resource in meta["resources"]]


PACKAGES = {
    "no description": lambda files, meta: files.pop("datapackage.json"),
    "a list": b"[]",
    "null": b"null",
    "a number": b"5",
    "cut off": b'{"resources": [{"na',
    "not a number": b'{"resources": NaN}',
    "tables as one table": lambda files, meta: meta.update(resources={"a": 1}),
    "tables as text": lambda files, meta: meta.update(resources="x"),
    "a table of nothing": lambda files, meta: meta.update(resources=[None]),
    "tables without files": lambda files, meta: [r.pop("path") for r in meta["resources"]],
    "a list of files": lambda files, meta: changed({"path": ["a"]})(meta),
    "files outside": lambda files, meta: changed({"path": "../../etc/passwd"})(meta),
    "version of thirty digits": lambda files, meta: meta["qckit"].update(schema_version=10**30),
    "version as a list": lambda files, meta: meta["qckit"].update(schema_version=[1]),
    "version below nothing": lambda files, meta: meta["qckit"].update(schema_version=-1),
    "half a version": lambda files, meta: meta["qckit"].update(schema_version=1.5),
    "an empty table": lambda files, meta: files.update({"data/lots.csv": b""}),
    "bytes for a table": lambda files, meta: files.update({"data/lots.csv": bytes(range(256)) * 9}),
    "a table that is not there": lambda files, meta: files.pop("data/lots.csv"),
    "a NUL in a row": lambda files, meta: files.update({"data/lots.csv": files["data/lots.csv"] + b"a\0b,,\n"}),
    "a cell without end": lambda files, meta: files.update(
        {"data/lots.csv": files["data/lots.csv"] + b'"' + b"x" * 3_000_000 + b'"\n'}
    ),
    "settings that are none": lambda files, meta: files.update({"qckit.toml": b"[[["}),
}
PASSED_OVER = {
    "a file above": {"reports/../../x.txt": b"x"},
    "a file of the system": {"/tmp/x-of-a-package.txt": b"x"},
}
"""Members that no restore takes out of a package: it comes back without them."""


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    place = tmp_path_factory.mktemp("package")
    with open_log(new_site(place / "site", name="bed", timezone="Europe/Lisbon")) as log:
        export_zip(log, place / "sound.zip")
    with zipfile.ZipFile(place / "sound.zip") as packed:
        return {item.filename: packed.read(item) for item in packed.infolist()}


@pytest.mark.parametrize("name", PACKAGES)
def test_packages(tmp_path, run, package, name):
    files, meta, change = dict(package), copy.deepcopy(json.loads(package["datapackage.json"])), PACKAGES[name]
    if isinstance(change, bytes):
        files["datapackage.json"] = change
    else:
        change(files, meta)
        if "datapackage.json" in files:
            files["datapackage.json"] = json.dumps(meta).encode()
    with zipfile.ZipFile(tmp_path / "q.zip", "w") as packed:
        for path, content in files.items():
            packed.writestr(path, content)
    code, out, err = run("log", "restore", tmp_path / "q.zip", tmp_path / "back")
    assert code == 2, out + err
    assert err.startswith("qckit: ") and err.count("\n") == 1
    assert not (tmp_path / "back").exists() or not list((tmp_path / "back").glob("log.sqlite*"))
    assert sorted(p.name for p in tmp_path.iterdir()) in (["q.zip"], ["back", "q.zip"])


@pytest.mark.parametrize("name", PASSED_OVER)
def test_only_what_belongs_to_a_package_is_taken_out_of_it(tmp_path, run, package, name):
    with zipfile.ZipFile(tmp_path / "q.zip", "w") as packed:
        for path, content in (package | PASSED_OVER[name]).items():
            packed.writestr(path, content)
    code, out, err = run("log", "restore", tmp_path / "q.zip", tmp_path / "in" / "back")
    assert code == 0, out + err
    assert not list(tmp_path.rglob("x*.txt")) and not Path("/tmp/x-of-a-package.txt").exists()
