"""Words on the field sheet: what speaks, what is denied, what is mended, what means nothing."""

import pytest
from sheet_words import OF_THE_LOT, SILENT, SPEAKS

from qckit.verdicts.poor_hatch.likelihood.notes import factors_of, read_sheet
from qckit.verdicts.poor_hatch.likelihood.tongues import in_english


def spoken(notes="", aeration="", lot_notes=""):
    return {s.cause for s in read_sheet({"notes": notes, "aeration": aeration}, {"notes": lot_notes})}


@pytest.mark.parametrize(
    ("notes", "cause"),
    [
        ("Heater was off", "cold"),
        ("the lamp was out till noon", "dark"),
        ("air weak; tube kinked", "oxygen"),
        ("pump stopped in the night", "oxygen"),
        ("double portion by mistake", "crowded"),
        ("brown crust on the wall", "unwetted"),
        ("cysts floating on top", "unwetted"),
        ("spilt a little", "amount"),
        ("stood over night, late", "overlong"),
        ("not mixed before sampling", "uneven"),
        ("forgot the buffer", "ph"),
        ("too salty", "salt"),
        ("thermostat stuck", "hot"),
        ("photos out of focus", "missed"),
        ("swarm at the window side", "gradient"),
    ],
)
def test_synonyms_speak_for_their_cause(notes, cause):
    assert cause in spoken(notes)


@pytest.mark.parametrize(
    "notes",
    [
        "no crust on the wall",
        "heater fine",
        "air stone replaced",
        "not floating",
        "pump weak last week, repaired",
        "new towels; radio on; lunch at one",
        "all fine",
        "never too salty",
        "visitors at ten",
    ],
)
def test_what_is_denied_mended_or_means_nothing_does_not_speak(notes):
    assert spoken(notes) == set()


def test_words_on_the_lot_speak_of_the_lot_alone():
    assert spoken(lot_notes="tin left open in a warm room") == {"embryos"}
    assert spoken(lot_notes="dusty, lots of husks") == {"empty"}
    assert spoken(lot_notes="heater was off") == set()


def test_the_air_column_speaks_too():
    assert spoken(aeration="weak") == {"oxygen"} and spoken(aeration="very strong") == {"broken"}
    assert spoken(aeration="strong") == set()


def test_a_phrase_that_stands_on_every_sheet_counts_for_little():
    rare = read_sheet({"notes": "lamp out"}, None, [])[0].factor
    usual = read_sheet({"notes": "lamp out"}, None, ["lamp out"] * 4)[0].factor
    assert usual < rare / 3
    factors = factors_of(read_sheet({"notes": "lamp out"}, None, []))
    assert factors["dark"] == rare and factors["cold"] < 1 and factors["swapped"] == 1


def test_nearly_all_of_many_wordings_speak_for_their_cause():
    unheard = [t for c, texts in SPEAKS.items() for t in texts if c not in spoken(t)]
    unheard += [t for c, texts in OF_THE_LOT.items() for t in texts if c not in spoken(lot_notes=t)]
    n = sum(map(len, [*SPEAKS.values(), *OF_THE_LOT.values()]))
    assert n > 350 and len(unheard) <= 0.05 * n, unheard


@pytest.mark.parametrize("notes", SILENT)
def test_idle_and_denied_words_are_silent(notes):
    assert spoken(notes) == set()


@pytest.mark.parametrize(
    ("notes", "causes"),
    [
        ("air was off while sampling", {"uneven"}),  # not the air of the night
        ("salt weighed twice", {"salt"}),
        ("wndow left open; heatr off", {"cold"}),  # one letter off
        ("heater wasn\u2019t switched off by the timer", set()),
        ("htr not working", {"cold"}),
        ("blanket on the cone, ph 7.3", {"dark", "ph"}),
        ("pH 8.2, 28.5 C, 33 ppt", set()),
    ],
)
def test_a_phrase_speaks_for_what_it_means_and_no_more(notes, causes):
    assert spoken(notes) == causes


@pytest.mark.parametrize(
    ("notes", "cause"),
    [
        ("Heizung ausgefallen", "cold"),
        ("el agua estaba muy caliente", "hot"),
        ("chauffage \u00e9teint toute la nuit", "cold"),
        ("aquecedor desligado", "cold"),
        ("kein Natron mehr", "ph"),
        ("piedra tapada", "oxygen"),
        ("pompe arr\u00eat\u00e9e", "oxygen"),
        ("\u00e1gua muito salgada", "salt"),
        ("Salz vergessen", "fresh"),
        ("lampe \u00e9teinte", "dark"),
        ("anel de cistos na parede", "unwetted"),
        ("zu fr\u00fch gez\u00e4hlt", "early"),
        ("cosechado tarde", "overlong"),
        ("riecht nach Chlor", "bleached"),
        ("nicht gemischt, Probe von oben", "uneven"),
        ("coupure de courant", "power"),
        ("Heizugn ausgefallen", "cold"),  # two letters swapped
        ("WASSER KALT", "cold"),
        ("verwarming kapot, water ijskoud", "cold"),
        ("luchtslang afgeknepen", "oxygen"),
        ("zout vergeten", "fresh"),
        ("niet geroerd voor het monster", "uneven"),
        ("deksel open, eitjes vochtig", "portion"),
        ("tuyau d'air pinc\u00e9", "oxygen"),
        ("oubl\u00e9 le sel", "fresh"),  # a letter left out
        ("\u00e1gua quente demais", "hot"),  # the word for too stands behind
        ("todo bien, sin tampon", "ph"),  # the second phrase alone could be any tongue
    ],
)
def test_notes_in_other_tongues_speak(notes, cause):
    assert cause in spoken(notes)


@pytest.mark.parametrize(
    "notes",
    [
        "verwarming nagekeken, ok",
        "goed geroerd",
        "geen bijzonderheden",
        "weegschaal geijkt",
        "gut aufger\u00fchrt",
        "Pumpe gereinigt, l\u00e4uft",
        "chauffage v\u00e9rifi\u00e9 ok",
        "bien brass\u00e9",
        "l\u00e1mpada limpa",
        "calentador revisado ok",
    ],
)
def test_idle_words_of_other_tongues_are_silent(notes):
    assert spoken(notes) == set()


def test_english_stays_as_it_is():
    every = [t for texts in SPEAKS.values() for t in texts] + SILENT[10:]
    changed = [t for t in every if in_english(t.casefold()) != t.casefold()]
    assert not changed
