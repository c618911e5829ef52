"""What people write in the margin, in several languages, and which causes a phrase points to.

A phrase is (text, {cause: factor}): the factor by which a careful reader finds the cause more likely.
"""

IDLE = {
    "en": [
        "ok",
        "all fine",
        "late start, delivery came",
        "new gloves",
        "fed to seahorses",
        "1/2 to larvae, 1/2 fridge",
        "phone w supplier",
        "counted before lunch",
        "bit foamy",
        "normal",
        "visitors",
        "pls order Lugol",
        "see whiteboard",
        "school tour, rushed",
        "good colour",
        "cone rinsed",
        "checked by me",
        "harvest 40 min",
        "fine imo",
        "new pipette tips",
        "radio on :)",
        "same as yest.",
        "air a bit high",
        "few shells at top",
        "tmp ok",
        "wipe bench!!",
    ],
    "de": [
        "alles gut",
        "i.O.",
        "etw. Schaum",
        "Besuch im Haus",
        "spaet angesetzt",
        "Ernte wie immer",
        "neue Handschuhe",
        "bitte Lugol bestellen",
        "schoene Farbe",
        "s. Tafel",
    ],
    "nl": [
        "prima",
        "alles ok",
        "beetje schuim",
        "laat begonnen",
        "bezoek",
        "nieuwe handschoenen",
        "geteld voor de lunch",
        "lugol bijna op",
    ],
    "fr": ["RAS", "ok", "un peu de mousse", "visite ecole", "commande lugol", "demarre en retard", "belle couleur"],
    "es": ["todo bien", "normal", "un poco de espuma", "visita", "pedir lugol", "empezado tarde", "buen color"],
    "it": ["tutto ok", "un po' di schiuma", "visita scuola", "ordinare lugol", "iniziato tardi", "bel colore"],
    "id": ["ok", "normal", "agak berbusa", "ada tamu", "pesan lugol", "mulai terlambat", "warna bagus"],
}
DIRECT = {
    "cold": [
        "heater dead this morning, cone stone cold",
        "heater was unplugged overnight",
        "Heizstab defekt, kalt",
        "verwarming stond uit",
    ],
    "heat": ["thermostat stuck on, water hot to the hand", "cone in full sun all aft.", "Heizer haengt, viel zu warm"],
    "low_ph": ["forgot the bicarb", "no buffer left, went without", "vergeten te bufferen", "sin bicarbonato hoy"],
    "low_oxygen": ["air very weak in this one all night", "blower on half, hardly any bubbles", "Luft fast aus"],
    "over_density": ["double portion, need more for larvae"],
    "high_salinity": ["brine way too strong, saw it too late", "salt dosed twice I think"],
    "dark_start": [
        "lamp was off when I came",
        "lights off over the cones all night, timer",
        "Licht aus die ganze Nacht",
    ],
    "not_wetted": [
        "thick brown ring of cysts above water line",
        "Rand mit trockenen Zysten",
        "lots stuck on the wall, dry",
    ],
    "dormant_lot": ["supplier says: this lot needs more cold storage"],
    "old_lot": ["cysts smell old, tin past date"],
    "dirty_lot": ["lot full of sand + husks"],
    "over_long": ["only counted next afternoon", "pas compte avant le soir", "forgot to count, done much later"],
    "mixing_error": ["sampled with air off, forgot to stir", "had settled when i took the drops"],
    "weighing_error": ["scale was not tared I think", "balance drifting, pan not clean"],
    "volume_error": ["cone was filled well over the mark", "pipette was set to wrong vol."],
    "miscount": ["counted in a hurry, wiggling all over, no lugol", "new student counted"],
    "damp_cysts": ["cyst tin was left open over w/e", "Dose stand offen, Zysten klumpig", "cysts clumpy, damp"],
    "tap_water": ["forgot the dechlor", "filled from the new copper pipe", "kraanwater niet gedechloreerd"],
    "soap_left": ["cone washed w dish soap yesterday", "smells of bleach still after clean"],
    "air_failure": ["air stone had fallen off, put back", "air pump found off in the night, back on"],
    "decap_overdone": ["bleach got hot, went pale/white", "zu lange im Chlor"],
    "dilution_error": ["not sure if dil. 1:2 or more today, beaker was full", "diluted more than usual for counting"],
    "wrong_lot": ["think i took the other tin, sorry"],
    "cold_start": ["water straight from the cold store", "RO tank ice cold, heater needed all morning"],
    "counted_early": ["counted early today, dentist", "eerder geteld, vrij middag"],
    "fresh_fill": ["salt ran out, made do", "refilled w RO and forgot salt??"],
}
HINTS = [
    ("fuse out again when I came", {"cold": 14, "low_oxygen": 7, "air_failure": 14, "dark_start": 8, "cold_start": 2}),
    ("new tank of salt", {"high_salinity": 7, "low_ph": 5, "fresh_fill": 5, "tap_water": 2}),
    ("lamp bulb replaced", {"dark_start": 15}),
    ("power cut in the nite", {"cold": 12, "air_failure": 14, "dark_start": 6, "low_oxygen": 4}),
    ("shut lid of cyst tin, was ajar", {"damp_cysts": 15, "old_lot": 3}),
    ("plumber here", {"tap_water": 8, "cold_start": 3}),
    ("cones cleaned by summer help", {"soap_left": 12, "not_wetted": 2}),
    ("bicarb order late", {"low_ph": 15}),
    ("new air line", {"low_oxygen": 5, "air_failure": 6, "not_wetted": 3, "mixing_error": 2}),
    ("thermostat changed", {"cold": 7, "heat": 9, "cold_start": 3}),
    ("neue Waage", {"weighing_error": 10}),
    ("new pipet", {"volume_error": 8, "dilution_error": 4}),
    ("two tins open in fridge", {"wrong_lot": 10, "damp_cysts": 3}),
    ("Urlaubsvertretung gezaehlt", {"miscount": 6, "mixing_error": 4, "dilution_error": 5, "counted_early": 2}),
    ("stone replaced", {"low_oxygen": 7, "air_failure": 9}),
    ("moved cones nearer window", {"heat": 8, "cold": 3, "cold_start": 2}),
    ("refractometer needs calibr.", {"high_salinity": 6, "fresh_fill": 6}),
    ("short staffed", {"over_long": 3, "mixing_error": 2, "miscount": 2, "weighing_error": 2}),
    ("bleach batch by trainee", {"decap_overdone": 12}),
    ("had to leave at 3", {"counted_early": 8}),
]
ABBREV = [
    (" the ", " "),
    ("temperature", "temp"),
    ("counted", "cntd"),
    ("with", "w"),
    ("before", "b4"),
    ("water", "wtr"),
]


def idle(rng, lang):
    """A note which means nothing; at times in another language."""
    if rng.uniform() < 0.2:
        lang = "en"
    return scrawl(rng, str(rng.choice(IDLE[lang])))


def direct(rng, cause):
    """A note that names the cause or nearly so, with what it points to."""
    return scrawl(rng, str(rng.choice(DIRECT[cause]))), {cause: 60.0}


def hint(rng, cause=None):
    """A note that hints at `cause` (or, with None, at something that did not happen here)."""
    pool = [h for h in HINTS if cause is None or cause in h[1]]
    if not pool:
        return None
    text, points = pool[int(rng.integers(len(pool)))]
    return scrawl(rng, text), dict(points)


def scrawl(rng, text):
    """Make a note look written by hand: short forms, a swapped letter, a capital, dots."""
    if rng.uniform() < 0.25:
        for a, b in ABBREV:
            text = text.replace(a, b)
    if rng.uniform() < 0.12 and len(text) > 6:
        i = int(rng.integers(1, len(text) - 2))
        text = text[:i] + text[i + 1] + text[i] + text[i + 2 :]
    if rng.uniform() < 0.3:
        text = text[0].upper() + text[1:]
    return text + str(rng.choice(["", "", "", ".", "!", "..", " ?"], p=[0.3, 0.25, 0.25, 0.1, 0.04, 0.04, 0.02]))
