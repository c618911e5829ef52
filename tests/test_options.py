"""What people type after an option of any command: decimal commas, the site's order of dates, its clock.

The commands are walked, so that a new option cannot be left out.
"""

import re

import click
import pytest

from qckit.cli import COMMANDS, command
from qckit.commands._options import Number, SiteText
from qckit.errors import InputError
from qckit.log import new_site
from qckit.log.typed import site_time, typed_cell
from qckit.settings import load_settings


def every_parameter(group=command, path=()):
    """Yield (command, its parameter) of all commands."""
    for name in group.list_commands(None):
        found = group.get_command(None, name)
        if isinstance(found, click.Group):
            yield from every_parameter(found, (*path, name))
        else:
            for param in found.params:
                yield " ".join((*path, name, param.opts[-1])), found, param


COMMANDS_OF = {name.split()[0]: owner for name, owner, _ in every_parameter()}
PARAMETERS = list(every_parameter())
NUMBERS = [(name, p) for name, _, p in PARAMETERS if isinstance(p.type, Number)]
TIMES = [(name, c, p) for name, c, p in PARAMETERS if isinstance(p.type, SiteText)]
NAMED_BY_TIME = re.compile(r"--(now|at|since|until|from|to|day|date|month|time|moment|when)$|-at$|\bmonth$")
OF_THE_CLOCK = {"new --count-at"}  # a time of day alone, read where the protocol is checked


def test_all_commands_are_walked():
    assert {name.split()[0] for name, _, _ in PARAMETERS} == set(COMMANDS) - {"doctor"}
    assert len(NUMBERS) > 20 and len(TIMES) > 6


@pytest.mark.parametrize(("name", "param"), [(name, p) for name, _, p in PARAMETERS], ids=lambda x: str(x)[:40])
def test_no_option_reads_by_itself(name, param):
    known = (click.types.IntParamType, click.types.FloatParamType, click.DateTime)
    assert not isinstance(param.type, known), "give it the type Number"
    told = f"{getattr(param, 'help', '') or ''} {param.metavar or ''}"
    if name not in OF_THE_CLOCK:
        assert isinstance(param.type, SiteText) or not (
            NAMED_BY_TIME.search(name) or re.search(r"\bTIME\b|\bDAY\b|20\d\d-\d\d", told)
        ), "give it one of the types MOMENT, DAY, MONTH"


@pytest.mark.parametrize(("name", "param"), NUMBERS, ids=lambda x: str(x)[:40])
def test_numbers(name, param):
    def read(text):
        return param.type.convert(text, param, None)

    assert read("2") == 2 and isinstance(read("2"), int) == param.type.whole
    assert read(2.0) == 2
    if param.type.whole:
        with pytest.raises(InputError, match="is no whole number"):
            read("2,5")
    else:
        assert read("2,5") == read("2.5") == 2.5
        assert read("1.250") == 1.25
        with pytest.raises(InputError, match=r"could be 1\.250 or 1250"):
            read("1,250")
        if param.type.unit == "µl":
            assert read("0,25 ml") == 250
    for text in ("five", "nan", "inf", "1e400", "", "9" * 60, "2 lb", "1;2"):
        with pytest.raises(InputError, match=re.escape(param.opts[-1])):
            read(text)


def test_numbers_are_read_by_the_sites_decimal_sign(tmp_path):
    """qckit dose LOT --nauplii 400.000 gave the grams for 400 where the comma is the decimal sign."""
    site = new_site(tmp_path / "site", changes={"site": {"decimal": "comma"}})
    dose = COMMANDS_OF["dose"]
    context = click.Context(dose)
    context.params["site"] = str(site)

    def read(option, text):
        param = next(p for p in dose.params if option in p.opts)
        return param.type.convert(text, param, context)

    assert read("--nauplii", "400.000") == read("--nauplii", "400000") == 400_000
    assert read("--risk", "0,05") == read("--risk", "0.05") == 0.05
    assert read("--t10", "16,125") == 16.125
    with pytest.raises(InputError, match=r"--nauplii: '400,000' could be 400 or 400000\. Write it without ','\."):
        read("--nauplii", "400,000")
    with pytest.raises(InputError, match=r"--per-animal: '1\.500' could be 1\.500 or 1500\. Write 1500 or 1,5\."):
        read("--per-animal", "1.500")
    settings = load_settings(site)
    assert typed_cell("samples", "nauplii", "1.200", settings) == 1200
    assert typed_cell("hatches", "cysts_g", "1.50", settings) == "1.50"  # as programs write it
    with pytest.raises(InputError, match=r"cysts_g: '1\.500' could be 1\.500 or 1500"):
        typed_cell("hatches", "cysts_g", "1.500", settings)


@pytest.mark.parametrize(("name", "owner", "param"), TIMES, ids=lambda x: str(x)[:40])
def test_times(name, owner, param, tmp_path):
    site = new_site(tmp_path / "site", timezone="Europe/Lisbon", date_order="dmy")
    context = click.Context(owner)
    has_site = any(p.name == "site" for p in owner.params)
    context.params["site"] = str(site) if has_site else None

    def read(text):
        return param.type.convert(text, param, context)

    wanted = {
        "time": {"2026-08-05T08:00+01:00": "2026-08-05T08:00:00+01:00", "5 Aug 2026 08:00 +02:00": None},
        "day": {"2026-08-05": "2026-08-05"},
        "month": {"2026-08": "2026-08", "8/2026": "2026-08", "Aug 2026": "2026-08", "all": "all"},
    }[param.type.name]
    if has_site:
        today = site_time(load_settings(site)).date()
        wanted |= {
            "time": dict.fromkeys(("5/8/2026 8:00", "5.8.26 8h00", "2026-08-05 08:00"), "2026-08-05T08:00:00+01:00"),
            "day": {"5/8/2026": "2026-08-05", f"{today.day}/{today.month}": today.isoformat()},
            "month": {"15/8/2026..14/9/2026": "2026-08-15..2026-09-14"},
        }[param.type.name]
    for text, value in wanted.items():
        assert read(text) == value or (value is None and read(text).endswith("+02:00")), text
    said = re.escape(param.opts[-1] if isinstance(param, click.Option) else param.human_readable_name)
    for text in ("yesterday", "31/2/2026 9:00", "2026-13", "9" * 50, "?"):
        with pytest.raises(InputError, match=said):
            read(text)


def test_help_says_of_every_command_what_it_does_whole():
    from click.testing import CliRunner

    for group in ("camera", "log", "report"):
        shown = CliRunner().invoke(command, [group, "--help"]).output
        assert "..." not in shown.partition("Commands:")[2], shown


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("gide", "Did you mean 'guide'?"), ("evidence", "Did you mean 'qckit log evidence'?"), ("help", "qckit --help")],
)
def test_a_command_that_is_none_is_told_what_was_likely_meant(typed, meant):
    with pytest.raises(click.UsageError, match=re.escape(meant)) as caught:
        command.main([typed], standalone_mode=False)
    assert "Known: demo, new, today" in caught.value.message
