"""Fourteen invented months go in by the import a user has."""

import pandas as pd
from click.testing import CliRunner

from qckit import practice
from qckit.commands.log import command
from qckit.log import new_site, open_log


def test_the_invented_months_are_imported_from_their_sheets(tmp_path):
    site, other = new_site(tmp_path / "site"), new_site(tmp_path / "other")
    paths = [str(path) for path in practice.write_history(tmp_path / "sheets")]
    done = CliRunner().invoke(command, ["import", *paths, "--by", "op1", "--site", str(site)])
    assert done.exit_code == 0, done.output
    frames = practice.invented_history()
    with open_log(site) as log, open_log(other) as direct:
        direct.add_many(frames, by="op1")
        for name in ("lots", "hatches", "readings"):
            pd.testing.assert_frame_equal(log.table(name), direct.table(name))
            assert len(log.table(name)) == len(frames[name])
        pd.testing.assert_frame_equal(log.samples(counted=None), direct.samples(counted=None))
        assert log.check().query("severity == 'wrong'").empty
    again = CliRunner().invoke(command, ["import", *paths, "--by", "op1", "--site", str(site)])
    assert again.exit_code == 0
    assert "added" not in again.output
    assert again.output.count("there already") == 4
