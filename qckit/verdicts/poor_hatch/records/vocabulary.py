"""Words on field sheets: classes of words that the causes' records share, and how two of them make a phrase.

People name a thing and its state in either order, actively or passively, with words between: "heater off", "found the
heater switched off". So a phrase is mostly a pair of classes, in either order, within a few words and without a denial
between. The classes are ours (common practice, no source).
"""

from __future__ import annotations

__all__ = ["AIR", "BUFFER", "CONTAINER", "COUNT", "FAILED", "HEATER", "LAMP", "PHOTO", "SAMPLE", "both", "forgot"]

_DENIAL = r"not|no|never|nor|none|without|nothing|ok|okay|fine|good|normal|usual"

HEATER = r"heaters?|heating|heat (?:mat|rod|pad|cable)|heating (?:mat|rod|pad|cable)|immersion|radiator|thermostat"
AIR = (
    r"air|air ?(?:stone|line|tube|hose|valve|pump|supply|flow|lift)s?|aerat\w+|pumps?|bubbl\w+|blower|compressor|"
    r"(?:the|air) ?stones?|stone|diffuser|valve"
)
# the small lamp of a heater, a pump or a meter lights no cone
LAMP = (
    r"(?<!heater )(?<!heating )(?<!pilot )(?<!control )(?<!warning )(?<!pump )(?<!thermostat )(?:lamps?|lights?)|"
    r"bulbs?|light tubes?|neon|leds?|led strip|lighting|illumination"
)
BUFFER = r"buffer(?:ing)?|(?:sodium )?bicarb\w*|(?:baking )?soda|nahco3"
PHOTO = r"photos?|pictures?|pics?|images?|shots?|camera|lens|frames?"
COUNT = r"count\w*|read(?:ing)?|reading\w*|sampl\w+|harvest\w*|collect(?:ed|ing)"
SAMPLE = r"(?:sub)?sampl\w+|counting|draw\w*|drew|drops?|pipett\w+|taking|took|taken"
CONTAINER = (
    r"tins?|cans?|lid|packs?|packets?|packages?|bags?|jars?|tubs?|pots?|drum|bucket|box|seal|vacuum|freezer|fridge|"
    r"cooler"
)
FAILED = (
    r"off|out|dead|fail\w*|broken|broke|unplugged|tripped|blown|blew|stopped|died|defect\w*|faulty|forgotten|"
    r"burn(?:ed|t) out|shut (?:down|off)|cut(?: out| off)?|pulled|conked out|disconnected|gone|gave up|given up|"
    r"not (?:working|on|running|plugged in|connected|(?:switched|turned) on|started)|"
    r"packed (?:in|up)|gave out|silent|seized|idle|st[ao]o?nd(?:ing)? still|"
    r"never (?:came|come|went|started|ran)(?: on)?|"
    r"out of (?:the|its) (?:socket|plug)|not come on|"
    r"(?:did|does|do) not (?:work|run|come on|start|go on)"
)


def both(subject: str, state: str, *, between: int = 28, before: int = 18) -> str:
    """Return a pattern for a thing and its state, in either order and close together, with no denial between.

    Parameters
    ----------
    subject, state : str
        Alternatives of whole words.
    between, before : int
        Most letters between them where the thing comes first, and where it comes last.
    """
    gap = rf"(?:(?!\b(?:{_DENIAL})\b).)"
    first = rf"\b(?:{subject})\b{gap}{{0,{between}}}?(?<!\w)(?:{state})\b"
    return rf"(?:{first}|\b(?:{state})\b{gap}{{0,{before}}}?(?<!\w)(?:{subject})\b)"


def forgot(what: str) -> str:
    """Return a pattern for something that was forgotten, left out or not done."""
    verb = r"forgot\w*|missed|skipped|omitted|left out|ran out of|out of|no|without|missing"
    after = (
        r"forgot\w*|missing|missed|skipped|omitted|left out|ran out|empty|used up|all gone|"
        r"not (?:added|put in|given|used|there)"
    )
    first = rf"\b(?:{verb}) (?:to \w+ )?(?:the |any |our )?(?:{what})\b(?! (?:trouble|problem|issue|fault)s?\b)"
    return rf"(?:{first}|{both(what, after)})"
