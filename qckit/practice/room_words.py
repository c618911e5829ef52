"""Words as they stand on the field sheets of practice rooms: of causes, of lots, of nothing much (invented)."""

__all__ = ["IDLE_NOTES", "LOT_NOTES", "NOTES"]

NOTES = {
    "cold": (
        "heater was off this morning",
        "room very cold",
        "heating failed in the night",
        "cold cone",
        "chilly in here",
    ),
    "hot": ("thermostat stuck", "water much too hot", "overheated after lunch", "sun on the cone all day"),
    "salt": ("too salty, mixed in a hurry", "salt scoop used twice", "brine tank used by mistake", "a lot evaporated"),
    "ph": ("ran out of bicarbonate", "forgot the buffer", "pH low again", "rain water used"),
    "oxygen": ("air stone clogged", "pump off for some hours", "weak bubbles", "smells sour", "blower tripped"),
    "dark": ("lamp out", "timer failed, dark start", "left covered with a lid", "no light till noon"),
    "early": ("counted early, had to leave", "set up late", "not finished yet"),
    "overlong": ("harvest delayed", "forgot to harvest", "over night and late", "stood too long"),
    "crowded": ("double dose", "everything in one cone", "two portions by mistake"),
    "unwetted": ("crust on the wall", "many floating", "brown rim above the water", "cysts dried on the side"),
    "broken": ("air very strong, foam on top", "boiling air"),
    "weighing": ("spilt some", "scale battery low", "weighed by eye"),
    "volume": ("topped up after a leak", "overfull", "more water than usual"),
    "missed": ("photos blurred", "lens fogged", "counted in a hurry"),
    "gradient": ("all at the window side", "swarm towards the lamp"),
    "uneven": ("not stirred before sampling", "drawn from the bottom", "air off while sampling"),
}

LOT_NOTES = {
    "embryos": (
        "lid was loose",
        "expired",
        "old stock from the shed",
        "not rested yet",
        "stored warm",
        "can found open",
    ),
    "empty": ("dusty", "lots of husks", "dirty, debris in it", "uncleaned batch"),
}

IDLE_NOTES = (
    "all fine",
    "heater fine",
    "air stone replaced",
    "no crust on the wall",
    "new towels",
    "count by the trainee",
    "lunch at one",
    "pump serviced, works",
    "radio on",
    "window cleaned",
)
