"""qckit new, today, lab and cards as a user meets them."""

import json
import os
import sys

import pytest

from qckit import cli
from qckit.day.founding import QUESTIONS, default_of
from qckit.day.lab import lab_command
from qckit.errors import InputError
from qckit.settings import load_settings


def run(*arguments):
    with pytest.raises(SystemExit) as left:
        cli.main([str(argument) for argument in arguments])
    return left.value.code


def test_new_takes_the_protocol_by_options_and_writes_the_page(tmp_path, capsys):
    folder = tmp_path / "site"
    options = "--name Cove --cones A,B --cone-litres 5 --hours 22 --count-at 08:30 --subsamples 2 --subsample-ul 500"
    more = ["--feeds", "09:30, 15:00, 20:00", "--nauplii", "2e6", "--people", "op1,op2", "--timezone", "Europe/Lisbon"]
    assert run("new", folder, *options.split(), *more, "--date-order", "dmy") == 0
    settings = load_settings(folder)
    protocol = settings.protocol
    assert (protocol.cone_names, protocol.initials, protocol.subsamples) == (("A", "B"), ("op1", "op2"), 2)
    assert (settings.feed.feeds_per_day, settings.feed.cone_volume_l, settings.conditions.reading_h) == (3.0, 5.0, 22.0)
    readme = (folder / "README.txt").read_text(encoding="utf-8")
    assert max(map(len, readme.splitlines())) <= 80 and len(readme.splitlines()) < 70
    for part in (
        "Cones A, B of 5 l",
        "EACH DAY",
        "EACH LOT",
        "EACH MONTH",
        "22 h from wetting",
        "Mains power",
        "Bleach and lye",
    ):
        assert part in readme
    assert {"day-sheet.csv", "day-sheet.xlsx", "field-sheets.xlsx"} <= {
        p.name for p in (folder / "field-sheets").iterdir()
    }
    assert "qckit today --site" in capsys.readouterr().out


def test_new_asks_in_a_terminal_and_asks_again_where_an_answer_cannot_be(tmp_path, monkeypatch):
    from click.testing import CliRunner

    from qckit.commands.new import command

    answers = [
        "Cove",
        "Europe/Atlantis",
        "Europe/Lisbon",
        "dmy",
        ",",
        "Kronen",
        "nok",
        "1, 2",
        "0",
        "10",
        "",
        "",
        "",
        "",
        "9:xx",
        "",
        "3,5 Mio",
        "op1",
    ]
    done = CliRunner().invoke(command, [str(tmp_path / "s"), "--questions"], input="\n".join(answers) + "\n")
    assert done.exit_code == 0, done.output
    assert "unknown time zone 'Europe/Atlantis'" in done.output and "'9:xx', which is no time of day" in done.output
    settings = load_settings(tmp_path / "s")
    assert settings.site.timezone == "Europe/Lisbon" and settings.protocol.cone_names == ("1", "2")
    assert settings.feed.cone_volume_l == 10.0
    assert (settings.site.decimal, settings.feed.nauplii_per_feed) == ("comma", 3_500_000)
    assert "'Kronen' is no currency. Write its three letters, such as EUR, GBP or USD." in done.output
    assert settings.site.currency == "NOK"


def test_the_decimal_sign_that_was_answered_reads_the_answers_after_it(tmp_path):
    """400.000 nauplii of a site that writes 1,5 were read as 400: a feed a thousandth of what is needed."""
    from click.testing import CliRunner

    from qckit.commands.new import command

    def site_of(name, *options, answers=("",)):
        line = [str(tmp_path / name), *options]
        done = CliRunner().invoke(command, line, input="\n".join(answers) + "\n")
        return done, load_settings(tmp_path / name) if done.exit_code == 0 else None

    fixed = ["--questions", "--name", "s", "--date-order", "dmy", "--timezone", "Europe/Vienna"]
    answers = ["comma", "", "", "1,5", "28", "", "", "0.250", "", "400,000", "400.000", ""]
    done, settings = site_of("asked", *fixed, answers=answers)
    assert done.exit_code == 0, done.output
    assert "your answer: '400,000' could be 400 or 400000. Write it without ','." in done.output
    assert (settings.feed.nauplii_per_feed, settings.feed.cone_volume_l) == (400_000, 1.5)
    assert settings.protocol.subsample_ul == 0.25  # begins with 0, so that it can be a fraction only
    _, settings = site_of("given", "--nauplii", "400.000", "--decimal", "comma", "--no-questions")
    assert settings.feed.nauplii_per_feed == 400_000
    for sign in ("comma", ",", "1,5", " Comma"):
        done, _ = site_of("doubtful", "--cone-litres", "1.500", "--decimal", sign, "--no-questions")
        assert str(done.exception) == "--cone-litres: '1.500' could be 1.500 or 1500. Write 1500 or 1,5.", sign
    done, _ = site_of("odd", "--decimal", "semicolon", "--no-questions")
    assert str(done.exception) == "unknown decimal sign 'semicolon'. Known: point, comma."
    done, _ = site_of("paid", "--currency", "Kronen", "--no-questions")
    assert str(done.exception).startswith("currency: 'Kronen' is no currency.")


@pytest.mark.parametrize(
    ("zone", "currency"),
    [
        ("Europe/Vienna", "EUR"),
        ("Europe/London", "GBP"),
        ("America/Denver", "USD"),
        ("US/Eastern", "USD"),  # older names of a zone, which time zone lists still offer
        ("Asia/Calcutta", "INR"),
        ("UTC", "EUR"),
    ],
)
def test_the_currency_of_the_time_zone_is_offered(zone, currency, tmp_path):
    """Values: ISO 4217 by country, from memory."""
    (one,) = [one for one in QUESTIONS if one.option == "currency"]
    assert default_of(one, "s", zone) == currency
    run("new", tmp_path / "s", "--timezone", zone)
    assert load_settings(tmp_path / "s").site.currency == currency


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("3,5 Mio", 3.5e6),
        ("3.5 million", 3.5e6),
        ("3.5M", 3.5e6),
        ("800 k", 8e5),
        ("1,250 Mio.", 1.25e6),
        ("2e6", 2e6),
        ("400,000", 4e5),
        ("3.500.000", 3.5e6),
    ],
)
def test_a_demand_is_read_as_people_write_it(text, number):
    (nauplii,) = [one for one in QUESTIONS if one.option == "nauplii"]
    assert nauplii.read(text) == number
    for wrong in ("3,5 Kilo", "many", "0", "400.000"):
        with pytest.raises(InputError):
            nauplii.read(wrong)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("8,5", "your answer: '8,5' is no whole number. Write '8,5 million' if that is meant."),
        (
            "4",
            "4 nauplii would feed nothing. Write '4 million' if that is meant; fewer than 1000 are set as "
            "nauplii_per_feed in qckit.toml.",
        ),
    ],
)
def test_a_demand_without_its_million_is_asked_for_again(text, said):
    """8,5 and Enter gave a site that fed 8.5 nauplii, and a page on which a feed lacked 17."""
    (nauplii,) = [one for one in QUESTIONS if one.option == "nauplii"]
    with pytest.raises(InputError) as error:
        nauplii.read(text, "comma")
    assert str(error.value) == said


def test_a_site_without_feeds_is_asked_for_no_demand(tmp_path, capsys):
    from click.testing import CliRunner

    from qckit.commands.new import command

    options = [str(tmp_path / "s"), "--questions", "--timezone", "UTC", "--cones", "A", "--name", "s"]
    done = CliRunner().invoke(command, options, input="\n".join([*[""] * 8, "none", "op1"]) + "\n")
    assert done.exit_code == 0 and "Nauplii for one feed" not in done.output, done.output
    settings = load_settings(tmp_path / "s")
    assert settings.protocol.feed_times == () and settings.protocol.people == "op1"
    page = (tmp_path / "s" / "README.txt").read_text(encoding="utf-8")
    assert "nothing is fed here" in page.replace("\n", " ") and "dose" not in page and "enter the feed" not in page
    assert "  4.  Start for tomorrow what you need, and enter it." in page and "  5." not in page
    assert run("today", "--site", tmp_path / "s", "--now", "2026-11-20T08:00") == 0
    said = capsys.readouterr().out
    assert "As much as you need; the grams say qckit dose LOT --nauplii NUMBER." in " ".join(said.split())
    assert "feed" not in said and "lack" not in said


def test_this_machines_time_zone_is_offered(monkeypatch):
    import tzlocal

    (zone,) = [one for one in QUESTIONS if one.option == "timezone"]
    monkeypatch.setattr(tzlocal, "get_localzone_name", lambda: "Europe/Lisbon")
    assert default_of(zone, "s") == "Europe/Lisbon"
    monkeypatch.setattr(tzlocal, "get_localzone_name", lambda: "Local")
    assert default_of(zone, "s") == "UTC"


def test_every_question_takes_its_own_default():
    for one in QUESTIONS:
        assert one.read(one.default or "name") is not None


def test_today_on_an_empty_site_says_what_is_missing(tmp_path, capsys):
    run("new", tmp_path / "site")
    capsys.readouterr()
    assert run("today", "--site", tmp_path / "site", "--now", "2026-11-20T08:00") == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 5 and "no lot is open: enter one" in lines[3]
    assert run("today", "--site", tmp_path / "site", "--json") == 0
    assert json.loads(capsys.readouterr().out)["start"]["code"] == "no lot"
    assert run("today", "--site", tmp_path / "site", "--html", tmp_path / "day.html") == 0
    assert "<h3>Due now</h3>" in (tmp_path / "day.html").read_text(encoding="utf-8")
    assert run("today", "--site", tmp_path / "site", "--now", "soon") == 2


def test_cards_are_written(tmp_path, capsys):
    run("new", tmp_path / "site", "--cones", "A,B")
    assert run("cards", tmp_path / "cards.html", "--site", tmp_path / "site", "--kind", "subsample") == 0
    assert "2 cards. Print at 100 %" in capsys.readouterr().out


def test_lab_listens_on_this_machine_only_with_this_kernel(tmp_path, monkeypatch):
    monkeypatch.delenv("JUPYTER_PATH", raising=False)
    command, environment = lab_command(tmp_path, port=8888, token="t", browser=False, work=tmp_path)
    assert "--ip=127.0.0.1" in command and not any("token" in part for part in command)
    assert environment["JUPYTER_TOKEN"] == "t" and environment["QCKIT_SITE"] == str(tmp_path)
    spec = json.loads((tmp_path / "kernels" / "python3" / "kernel.json").read_text())
    assert spec["argv"][0] == sys.executable and environment["JUPYTER_PATH"].split(os.pathsep)[0] == str(tmp_path)


def test_a_notebook_of_the_day_that_is_there_stays(tmp_path):
    from qckit.day.lab import NOTEBOOK, _put_notebook

    _put_notebook(tmp_path)
    (tmp_path / NOTEBOOK).write_text("mine")
    _put_notebook(tmp_path)
    assert (tmp_path / NOTEBOOK).read_text() == "mine"


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("feed_at", "10:00, noon", "feed_at has 'noon', which is no time of day"),
        ("cones", "A, B, A", "cones names something twice"),
        ("counted", "umbrella, cysts", "counted leaves out nauplii"),
        ("tally_keys", "1, 2", "tally_keys must be one key for each"),
        ("separation", "filter", "unknown separation 'filter'"),
    ],
)
def test_a_protocol_that_cannot_be_is_refused(tmp_path, name, value, said):
    from qckit.settings_text import settings_text

    (tmp_path / "qckit.toml").write_text(settings_text({"protocol": {name: value}}), encoding="utf-8")
    with pytest.raises(InputError, match=said):
        load_settings(tmp_path)
