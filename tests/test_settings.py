"""Settings that no calculation can mean are refused, with what to write instead."""

import pytest

from qckit.errors import InputError
from qckit.settings import load_settings
from qckit.settings_text import settings_text

WRONG = [
    ("feed", "recovery_pct", 0.85, "is 0.85, which is 0.85 %. If 85 % is meant, write 85."),
    ("feed", "recovery_pct", 0, "is 0 and must be 1 to 100. Correct it."),
    ("feed", "n_cones", 0, "is 0 and must be 1 to 10000. Correct it."),
    ("limits", "min_hatch_pct", -5.0, "is -5.0 and must be 0 to 100. Correct it."),
    ("limits", "min_hatch_pct", 0.75, "is 0.75, which is 0.75 %. If 75 % is meant, write 75."),
    ("limits", "confidence", 95, "is 95 and must be 0.5 to 0.9999. 95 % is written 0.95. Correct it."),
    (
        "conditions",
        "salinity_ppt",
        1.024,
        "is 1.024 and must be 5 to 85. It looks like a specific gravity: read the salinity off its table. Correct it.",
    ),
    ("feed", "nauplii_per_feed", float("nan"), "is nan and must be 1 to 1000000000000. Correct it."),
]


@pytest.mark.parametrize(("section", "name", "value", "said"), WRONG)
def test_a_setting_out_of_its_range_is_refused(tmp_path, section, name, value, said):
    path = tmp_path / "qckit.toml"
    path.write_text(settings_text({section: {name: value}}), encoding="utf-8")
    with pytest.raises(InputError) as error:
        load_settings(tmp_path)
    assert str(error.value) == f"{path}, section [{section}]: {name} {said}"


def test_the_defaults_are_in_their_ranges(tmp_path):
    (tmp_path / "qckit.toml").write_text(settings_text(), encoding="utf-8")
    assert load_settings(tmp_path).feed.recovery_pct == 85.0
