"""Results as a notebook shows them, what they draw, and the table that counting gives."""

import re

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest

import qckit
from qckit import charts, hatch
from qckit._paths import sample_images_dir
from qckit.verdicts.finding import Figure, Finding


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def photo():
    return sample_images_dir() / "photos" / "k-121_a_1.jpg"


def texts(ax):
    return [t.get_text() for t in ax.texts]


def test_a_counted_photo_shows_its_counts_in_the_logs_words_and_draws_its_objects(photo):
    count = qckit.count_photo(photo, um_per_px=6.2)
    page = count._repr_html_()
    assert "k-121_a_1.jpg" in page and f"{count.hatch_pct:.1f} %" in page
    for word, n in zip(("nauplii", "umbrella", "cysts", "shells"), count.counts.values(), strict=True):
        assert word in page and f">{n}<" in page
    printed = str(count).splitlines()
    assert printed[0] == "k-121_a_1.jpg" and printed[1].startswith(f"Hatched {count.hatch_pct:.1f} %; counting frame ")
    assert printed[-4:] == [
        f"  {word:<8}  {n:>7}"
        for word, n in zip(("nauplii", "umbrella", "cysts", "shells"), count.counts.values(), strict=True)
    ]
    assert repr(count) == str(count)  # no table of a hundred objects where somebody only looks
    _figure, ax = plt.subplots()
    assert count.plot(ax=ax) is ax
    drawn = {line.get_label(): len(line.get_xdata()) for line in ax.lines}
    assert drawn[f"nauplii ({count.counts['nauplius']})"] == count.counts["nauplius"]
    assert len({line.get_marker() for line in ax.lines}) == 4  # told apart without colour


def test_many_photos_come_as_one_tidy_table_with_units(photo, tmp_path):
    (tmp_path / "broken.jpg").write_bytes(b"no photo")
    table = qckit.count_photos([photo, tmp_path / "broken.jpg"], 6.2)
    assert list(table.columns[:6]) == ["photo", "nauplii", "umbrella", "cysts", "shells", "hatch_pct"]
    assert len(table) == 1 and table.attrs["units"]["frame_mm2"] == "mm²"
    assert len(table.attrs["failures"]) == 1 and "broken.jpg" in table.attrs["failures"][0]
    with pytest.raises(qckit.InputError, match="unknown table 'object'"):
        qckit.count_photos(photo, 6.2, what="object")


def test_a_finding_shows_headline_figures_and_steps_escaped():
    figures = [Figure("hatch_pct", "hatching percentage", 80.0, 76.0, 84.0, "%", 1), Figure("x", "dose", np.nan)]
    finding = Finding("new-lot", "K<1>", "accept", "Use it.", figures, ["Open a pack."])
    page = finding._repr_html_()
    assert "K&lt;1&gt;: Use it." in page and "80.0 %" in page and "76.0 to 84.0" in page and "1. Open a pack." in page
    assert str(finding).splitlines()[:2] == ["K<1>: Use it.", "1. Open a pack."]
    ax = finding.plot()
    assert [t.get_text() for t in ax.get_yticklabels()] == ["hatching percentage"]
    assert texts(ax) == ["80.0 %  (76.0 to 84.0)"]


def test_a_hatching_rate_shows_its_times():
    from qckit.hatch.rate.fit import HatchRate

    times = pd.DataFrame(
        [("T50", "curve", 18.2, 17.5, 19.0, "")], columns=["time", "method", "value_h", "low_h", "high_h", "note"]
    )
    rate = HatchRate(pd.DataFrame(), None, (), times, 3, 0.95, pd.DataFrame(), ("Three cones.",))
    page = rate._repr_html_()
    assert "T50" in page and "17.5 to 19.0" in page and "3 cones" in page and "Three cones." in page


def test_a_chart_that_says_what_it_is_is_drawn_with_signals_labels_and_unit():
    counts = np.r_[np.full(20, 80), 40]
    chart = charts.p_chart(counts, 100, per=100)
    ax = charts.draw_control_chart(chart)
    assert ax.get_ylabel() == "share [%]"
    signals = charts.find_signals(chart)
    assert len(signals) and "1" in texts(ax)  # the diamond's number: one point beyond the limits
    upper, lower = (f"{name} {chart[column].iloc[-1]:.1f}" for name, column in (("upper", "high"), ("lower", "low")))
    assert upper in texts(ax) and lower in texts(ax)
    share = charts.draw_control_chart(charts.p_chart(counts, 100), signals=None)
    assert share.get_ylabel() == "share [fraction]"
    names = [t for t in texts(share) if t.startswith(("upper", "mean", "lower"))]
    assert len({t.split()[1] for t in names}) == 3  # no two limits with one and the same label
    assert "1" not in texts(share)


WRONG_TYPES = {
    "the parameter nauplii is '5 Mio', which is a text": lambda site: site.dose("K-121", nauplii="5 Mio"),
    "the parameter risk is 'low', which is a text": lambda site: site.dose("K-121", nauplii=5e6, risk="low"),
    "'10'": lambda site: site.hatches(10),
    "5: cannot be read": lambda site: qckit.count_photo(5, um_per_px=6.2),
    "the values: 'a' is no number": lambda site: charts.individuals_chart([1, "a"]),
    "the sizes: 'x' is no number": lambda site: charts.p_chart([1, 2], "x"),
}


@pytest.mark.parametrize("words", WRONG_TYPES)
def test_a_parameter_of_the_wrong_type_is_answered_in_words(words, tmp_path):
    from qckit.log import new_site

    site = qckit.load_site(new_site(tmp_path / "room"))
    with qckit.open_log(site.folder) as log:
        log.add("lots", pd.DataFrame({"lot": ["K-121"]}), by="op1")
    with pytest.raises(qckit.InputError, match=re.escape(words)):
        WRONG_TYPES[words](site)


def test_comparisons_and_estimates_print_as_sentences_and_small_tables():
    cones = pd.DataFrame({"nauplii": [80.0, 85, 83, 70, 72, 74], "full_cysts": 100.0, "hatch": list("abcdef")})
    cones = cones.assign(hatch_pct=cones["nauplii"], hours=24.0, cone=cones["hatch"], basis="cysts")
    compared = hatch.compare_hatch_pct(cones[:3], cones[3:], other="K-1")
    assert str(compared).splitlines()[0] == compared.sentence
    assert re.search(r"difference in points +10\.7 +-?[\d.]+ to [\d.]+$", str(compared))
    estimate = hatch.proportion_over_cones(cones["nauplii"], cones["full_cysts"])
    assert str(estimate).startswith("Estimate over 6 cones; standard deviation over cones 0.0")
    assert "np.float64" not in f"{compared}{estimate}" and "<table" in estimate._repr_html_()
