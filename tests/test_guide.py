"""The guide for developers is true: its words of metrics, its map, the files it names, its length."""

import re
from pathlib import Path

from qckit.hatch import METRICS

ROOT = Path(__file__).resolve().parents[1]
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_metric_stands_in_the_list_of_words_as_in_its_record():
    for m in METRICS.values():
        source = "[1]" if "Technical Paper 361" in m.source else m.source
        assert f"| {m.label}, `{m.name}` | {m.unit} | {m.meaning} | {source} |" in GUIDE


def test_every_part_stands_in_the_map():
    inside = (ROOT / "qckit").iterdir()
    for part in (p.name for p in inside if p.is_dir() and not p.name.startswith(("_", "."))):
        assert f"{part}/" in GUIDE, f"{part}/ is not in the map of DEVELOPERS.md"


def test_every_file_and_name_of_the_lists_is_there():
    named = re.findall(r"`((?:qckit|tests)/[\w./-]+)(?:: ?(\w+))?", GUIDE)
    named = [(path, name) for path, name in named if not re.search(r"NAME|NN?[_.]", path)]
    assert len(named) > 25
    for path, name in named:
        assert (ROOT / path).exists(), f"{path} is not there"
        assert not name or re.search(rf"\b{name}\b", (ROOT / path).read_text(encoding="utf-8")), f"{name} in {path}"


def test_the_guide_stays_short_and_measurements_stay_apart():
    prose = [line for line in GUIDE.splitlines() if not line.startswith("|")]  # a new metric adds a row of words
    assert len(prose) <= 163
    for place in ("tests/benchmarks/MEASURED.md", "tests/photos/MEASURED.md"):
        assert place in GUIDE and (ROOT / place).is_file()
