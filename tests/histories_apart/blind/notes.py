"""What people write in the notes column: causes in many people's words, much that means nothing, some that misleads."""

from __future__ import annotations

IDLE = {
    "en": [
        "nice today",
        "ok",
        "good",
        "foam a little, normal",
        "cones scrubbed Monday",
        "new pipette tips",
        "visitor in the room",
        "see whiteboard",
        "bit late w/ harvest, feed ok",
        "label came off, rewrote it",
        "radio broke",
        "tanks 3+4 fed first",
        "order more bicarb",
        "orange and lively",
        "sieve 125 needs mending",
        "same as yesterday",
        "?",
        "pen empty",
        "salt order arrived",
    ],
    "de": [
        "alles gut",
        "wie immer",
        "Sieb gewaschen",
        "neue Lampe bestellt",
        "sehr schön orange",
        "Proben spät gezählt, egal",
        "Schaum wenig",
        "i.O.",
    ],
    "es": [
        "todo bien",
        "normal",
        "un poco de espuma",
        "cosecha a las 9",
        "bonito naranja",
        "falta sal, pedir",
        "ok ok",
        "lavado conos",
    ],
    "terse": ["ok", "-", "+", "gd", "std", "n/t", "fine", "//"],
}
MISLEAD = [
    "bubbles seemed low, turned up a bit",
    "room cold in the morning??",
    "lamp flickers",
    "smelled a little",
    "cysts look dusty this tin",
    "pH pen slow, probably fine",
    "few cysts above the line, rinsed down",
    "heater light off when I came, water felt warm",
    "Luft etwas schwach?",
    "agua un poco fria",
    "counted twice, not the same",
    "weighed in a hurry",
]

# direct: a careful reader knows; oblique: a careful reader wonders
CAUSE = {
    "cold": (
        [
            "heater was off this morning",
            "heater plug out, cold cone",
            "Heizer war aus, Wasser kalt",
            "calentador apagado toda la noche",
            "fuse for heaters blown over night",
            "water cold at harvest, heater dead",
        ],
        [
            "wearing a jacket in the room",
            "window open since friday",
            "slow this one",
            "Raum kalt",
            "cooler than usual I think",
        ],
    ),
    "heat": (
        [
            "heater stuck on, cone hot",
            "thermostat stuck, 36+ when I came",
            "muy caliente, termostato malo",
            "Heizung hing, zu warm",
        ],
        ["sauna in here", "AC off over weekend", "room hot", "steam on window"],
    ),
    "low_ph": (
        [
            "forgot the bicarb",
            "no buffer, bag empty",
            "sin bicarbonato hoy",
            "kein Natron mehr",
            "water from new well, pH low after the night",
        ],
        ["water from other line", "new water truck", "otra agua", "foam and sour"],
    ),
    "low_oxygen": (
        [
            "air stone clogged, cysts on the bottom at night",
            "air line fell off, put back 6am",
            "blower tripped",
            "piedra tapada, casi sin aire",
            "Luft war aus, alles am Boden",
        ],
        ["all sat at the bottom when I came", "weak bubbles", "smelled of eggs", "wenig Luft", "compressor noisy"],
    ),
    "over_density": (
        ["double portion, big demand today", "doppelte Menge", "el doble de cistos", "2x cysts, feed short tmrw"],
        ["lots of foam", "thick soup", "extra for weekend"],
    ),
    "high_salinity": (
        [
            "salt mixed wrong, way too salty",
            "2 bags salt instead of one",
            "zu viel Salz!",
            "mucha sal, error de mezcla",
        ],
        ["new salt scoop", "topped up from the sump", "water tasted strong"],
    ),
    "low_salinity": (
        ["forgot salt, nearly fresh", "fresh water in, no salt", "casi dulce, olvide la sal", "Salz vergessen"],
        ["short of salt", "water filled by trainee", "rain water tank?"],
    ),
    "dark_start": (
        [
            "light timer off, dark all night",
            "lamp did not come on",
            "Licht war aus",
            "luz apagada, temporizador",
            "lid left on the cone, dark",
        ],
        ["timer says 12:00 blinking", "power blip yesterday", "reloj parado"],
    ),
    "not_wetted": (
        [
            "thick ring of cysts on the wall above water",
            "poured dry, clumps stuck to the wall",
            "viele an der Wand kleben",
            "grumos pegados a la pared",
        ],
        ["splashed a lot", "air too strong at start", "brown ring", "did not pre soak"],
    ),
    "over_long": (
        [
            "harvested late, truck broke, 10 h over",
            "left until afternoon, thin and pale",
            "zu spät geerntet",
            "se quedo hasta la tarde",
        ],
        ["late", "shift change mess", "pale nauplii"],
    ),
    "read_early": (
        ["sampled early, I go home at noon", "counted before time", "zu früh gezählt", "conte antes de hora"],
        ["inspection at 12", "early shift", "half day"],
    ),
    "mixing_error": (
        [
            "sample from the surface, air was off",
            "air already off when sampled, settled",
            "Probe von oben genommen",
            "muestra sin mezclar",
        ],
        ["sampled after settling?", "new sampling tube", "quick count"],
    ),
    "weighing_error": (
        [
            "scale not tared I think",
            "used the scoop, scale broken",
            "Waage spinnt, Löffel genommen",
            "bascula descompuesta, use la cuchara",
        ],
        ["battery low on scale", "scale moved to other bench", "balance shows Err sometimes"],
    ),
    "volume_error": (
        ["filled over the line by a lot", "cone too full, maybe +1/3", "zu voll gefüllt", "llenado de mas"],
        ["hose left running", "mark is worn off", "topped up with water after start"],
    ),
    "miscount": (
        [
            "only half the grid counted",
            "counted one side of slide only",
            "nur halbe Kammer gezählt",
            "solo conte la mitad",
        ],
        ["eyes tired", "first count of trainee", "glasses forgotten", "neue Kollegin zählt"],
    ),
    "dilution_error": (
        ["dilution maybe wrong, 1:5 or 1:10?", "diluted again, not sure wrote it"],
        ["new cylinder", "jar was half full"],
    ),
    "bleach_left": (
        [
            "smells of chlorine, not rinsed?",
            "cone had bleach in overnight, rinsed short",
            "Chlor nicht gespült?",
            "huele a cloro",
        ],
        ["cones disinfected y'day", "deep clean yesterday", "very clean white cone"],
    ),
    "wrong_portion": (
        ["bags for {a} and {b} swapped?", "took the bag of the other cone"],
        ["portions weighed by night shift", "bags not labelled"],
    ),
    "mixed_lots": (
        ["finished the old tin, half old half new", "Rest alte Dose mit neue gemischt", "mezcla lata vieja y nueva"],
        ["scraped the tin", "end of tin", "two tins open"],
    ),
    "wrong_lot": (
        ["took from tin w/o label, think it is same", "label? old tin on the shelf"],
        ["tin from the back shelf", "tin number not read"],
    ),
    "decap_overdone": (
        [
            "decap too long, phone rang. pale",
            "chlorine bath got hot, forgot ice",
            "zu lange im Chlor",
            "mucho tiempo en cloro",
        ],
        ["new bleach bottle, strong", "went white fast", "no ice today"],
    ),
    "bacterial_bloom": (
        [
            "milky water, stinks, dead on bottom",
            "cloudy, slime on cone, many dead",
            "trüb, stinkt",
            "agua turbia mal olor",
        ],
        ["foam stays", "cloudy", "slimy airline"],
    ),
    "harvest_loss": (
        [
            "bucket stood warm 3h w/o air before count",
            "counted from the bucket, many dead",
            "Eimer ohne Luft vergessen",
        ],
        ["fridge full", "counted after lunch", "cool box late"],
    ),
    "rough_air": (
        ["air much too strong, broken ones", "Luft voll auf, Schaum überall, viele kaputt"],
        ["valve knob broke", "boiling like a pot"],
    ),
    "power_cut": (
        ["power cut in the night, no heat no air til 5", "Stromausfall nachts", "se fue la luz en la noche"],
        ["all clocks blink", "storm", "alarm on phone at 2"],
    ),
    "dormant_lot": ([], ["new tin, many just sit there", "still full after 2 days", "viele bleiben zu"]),
    "old_lot": (
        ["tin was open since spring, lumpy", "Dose nicht dicht, feucht"],
        ["smells musty", "bottom of the store", "cysts clump in spoon"],
    ),
    "dirty_lot": (["new tin: sand and shells in it", "mucha cascara en la lata"], ["dusty", "lots of shell foam"]),
}


def slip(text: str, r) -> str:
    """A slip of the pen now and then."""
    if len(text) > 6 and r.random() < 0.15:
        i = int(r.integers(1, len(text) - 2))
        kind = r.integers(3)
        text = text[:i] + (
            text[i + 1] + text[i] + text[i + 2 :] if kind == 0 else text[i + 1 :] if kind == 1 else text[i] + text[i:]
        )
    return text.upper() if r.random() < 0.03 else text


def idle(r, language: str) -> str:
    return slip(str(r.choice(IDLE[language])), r)


def misleading(r) -> str:
    return slip(str(r.choice(MISLEAD)), r)


def of_cause(r, cause: str, direct: bool, **names) -> str:
    """A note on a cause; names: the cones a and b where a note speaks of two."""
    bank = CAUSE[cause][0 if direct and CAUSE[cause][0] else 1]
    return slip(str(r.choice(bank)).format(**names), r)
