"""Values that hardly can be are said at import and by the check; what no water can hold is refused."""

# ruff: noqa: E501  sentences as they are said
import pandas as pd
import pytest
from invented_log import HATCHES, LOTS, SAMPLES

from qckit.errors import InputError
from qckit.log import corrections
from qckit.words import row_words

HATCH, SAMPLE = HATCHES.tail(1), SAMPLES.tail(1)
READING = pd.DataFrame(
    {
        "hatch": ["H-2"],
        "taken": ["2026-11-03T18:00:00+00:00"],
        "quantity": ["temperature"],
        "value": [-2.2],
        "unit": ["°C"],
    }
)

ODD = {
    "crowded": (
        {"hatches": HATCH.assign(cysts_g=3000.0)},
        "hatches H-2: 3000 g in 20000 ml are 150 g of cysts per litre. Look whether cysts_g is in grams and "
        "volume_ml in millilitres (20 l are 20000). If it is wrong:  qckit log correct hatches H-2 cysts_g VALUE "
        "--reason TEXT",
    ),
    "over its own most": (
        {"hatches": HATCH.assign(cysts_g=60.0)},
        "hatches H-2: 60 g in 20000 ml are 3 g of cysts per litre, more than this site's own most, 2 "
        "(max_g_per_l in qckit.toml). If it was so, nothing is to be mended. If it is wrong:  qckit log "
        "correct hatches H-2 cysts_g VALUE --reason TEXT",
    ),
    "milligrams": (
        {"hatches": HATCH.assign(cysts_g=0.03)},
        "hatches H-2: 0.03 g in 20000 ml are 0.0015 g of cysts per litre. Look whether cysts_g is in grams and "
        "volume_ml in millilitres (20 l are 20000). If it is wrong:  qckit log correct hatches H-2 cysts_g "
        "VALUE --reason TEXT",
    ),
    "specific gravity": (
        {"hatches": HATCH.assign(salinity_ppt=1.024)},
        "hatches H-2: the salinity is 1.024 ppt. 1.024 looks like a specific gravity: read the salinity "
        "off its table (1.025 is about 33 ppt at 25 °C). If it is wrong:  qckit log correct hatches H-2 "
        "salinity_ppt VALUE --reason TEXT",
    ),
    "brine": (
        {"hatches": HATCH.assign(salinity_ppt=120.0)},
        "hatches H-2: the salinity is 120 ppt. Cysts hatch between 5 and 85 ppt. If it is wrong:  qckit log correct "
        "hatches H-2 salinity_ppt VALUE --reason TEXT",
    ),
    "cold": (
        {"hatches": HATCH, "readings": READING},
        "readings H-2, 2026-11-03T18:00:00+00:00, temperature: the water's temperature is -2.2 °C. It is "
        "what 28.0 °F come to: if the thermometer showed 28.0 °C, the unit was °C. If it is wrong:  qckit log correct "
        "readings 'H-2|2026-11-03T18:00:00+00:00|temperature' value VALUE --reason TEXT",
    ),
    "hot": (
        {"hatches": HATCH.assign(temperature_c=55.0)},
        "hatches H-2: the water's temperature is 55.0 °C. If the thermometer showed 55.0 °F, that is 12.8 °C. If it is "
        "wrong:  qckit log correct hatches H-2 temperature_c VALUE --reason TEXT",
    ),
    "too many": (
        {"hatches": HATCH, "samples": SAMPLE.assign(nauplii=9000)},
        "samples S-3: 9000 nauplii in 250 µl make 18\u202f000\u202f000 per gram, more than a gram of cysts holds (450\u202f000 at "
        "the very most). Look at its count, volume_ul and dilution, and at cysts_g and volume_ml of hatch H-2. If "
        "it is wrong:  qckit log correct samples S-3 nauplii VALUE --reason TEXT",
    ),
    "fraction": (
        {"lots": LOTS.tail(1).assign(claimed_hatch_pct=0.85)},
        "lots L-2: claimed_hatch_pct is 0.85 %. It looks like a fraction: 85 % is written 85. If it is wrong:  "
        "qckit log correct lots L-2 claimed_hatch_pct VALUE --reason TEXT",
    ),
    "thousands": (
        {"lots": LOTS.tail(1).assign(claimed_nauplii_per_g=260.0)},
        "lots L-2: claimed_nauplii_per_g is 260. If thousands are meant, write them out: 260000. If it is wrong:  "
        "qckit log correct lots L-2 claimed_nauplii_per_g VALUE --reason TEXT",
    ),
    "to come": (
        {"hatches": HATCH.assign(started="2030-11-03T09:00:00+00:00")},
        "hatches H-2: started is 2030-11-03T09:00:00+00:00, still to come. If the time is right, set the "
        "computer's clock. If it is wrong:  qckit log correct hatches H-2 started TIME --reason TEXT",
    ),
}


@pytest.mark.parametrize("case", ODD)
def test_what_hardly_can_be_is_noted_at_import_and_found_by_the_check(log, case):
    frames, said = ODD[case]
    result = log.add_many({"lots": LOTS.tail(1), **frames}, by="op1")
    assert result.notes == [said]
    found = log.check().query("code in ('unlikely', 'time to come')")
    assert [f"{row_words(f.table, f.key)}: {f.what}. {f.what_to_do}" for f in found.itertuples()] == [said]


def test_a_sample_is_weighed_against_its_hatch_in_the_log(log):
    log.add_many({"lots": LOTS.tail(1), "hatches": HATCH}, by="op1")
    assert "make 18\u202f000\u202f000 per gram" in log.add("samples", SAMPLE.assign(nauplii=9000), by="op1").notes[0]


def test_ordinary_records_and_few_counts_by_chance_bring_no_note(log):
    few = SAMPLE.assign(nauplii=3, volume_ul=10.0)  # 150,000 per gram where 240,000 are usual; 9 would be chance too
    assert log.add_many({"lots": LOTS, "hatches": HATCHES, "samples": few}, by="op1").notes == []
    assert log.add("samples", few.assign(sample="S-4", nauplii=10), by="op1").notes == []
    harvest = SAMPLE.assign(sample="S-5", nauplii=9000, kind="sieve")  # of a harvest, not of the cone's water
    assert log.add("samples", harvest, by="op1").notes == []


def test_many_notes_are_cut_with_their_number(log):
    many = pd.concat([HATCH.assign(hatch=f"N{i}", salinity_ppt=1.02) for i in range(30)])
    notes = log.add_many({"lots": LOTS.tail(1), "hatches": many}, by="op1").notes
    assert len(notes) == 4  # three of a kind
    assert notes[-1] == "27 more values hardly can be: see  qckit log check."


@pytest.mark.parametrize(
    ("frames", "said"),
    [
        (
            {"hatches": HATCH.assign(volume_ml=20.0, cysts_g=30.0)},
            "hatches, row 2: cysts_g '30' is more cysts than water, in volume_ml 20. Correct cysts_g (grams) or volume_ml "
            "(millilitres: 20 l are 20000).",
        ),
        (
            {"hatches": HATCH, "samples": SAMPLE.assign(nauplii=1_000_000, volume_ul=100.0)},
            "samples, row 2: nauplii '1000000' is more than 100 µl can hold. Enter the number counted, not that of the cone; and "
            "volume_ul in microlitres (1 ml is 1000).",
        ),
    ],
)
def test_what_no_water_can_hold_is_refused(log, frames, said):
    with pytest.raises(InputError) as error:
        log.add_many({"lots": LOTS.tail(1), **frames}, by="op1")
    assert str(error.value).splitlines()[1] == said
    assert log.lots().empty


def test_the_check_finds_what_no_water_can_hold_in_older_records(log, monkeypatch):
    log.add_many({"lots": LOTS.tail(1), "hatches": HATCH}, by="op1")
    with pytest.raises(InputError, match="is more cysts than water"):
        log.correct("hatches", "H-2", "volume_ml", 20, by="op1", reason="slip")
    monkeypatch.setattr(corrections, "_check_rules", lambda *_: None)  # as older versions took it
    log.correct("hatches", "H-2", "volume_ml", 20, by="op1", reason="slip")
    found = log.check().query("code == 'impossible'")
    assert found["what"].tolist() == ["cysts_g 40 is more cysts than water, in volume_ml 20"]
    assert found["severity"].tolist() == ["wrong"]
