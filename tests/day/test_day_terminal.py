"""Keys as a terminal sends them: the tally's, and the one that goes back without Enter."""

from types import SimpleNamespace

import pytest
from prompt_toolkit import PromptSession
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from qckit.day.entry.terminal import _keys, run_tally
from qckit.protocol import ProtocolSettings

STATE = SimpleNamespace(cone="A", hatch="H261119-A")


@pytest.fixture
def keyboard():
    """A pipe that the terminal reads keys from."""
    with create_pipe_input() as pipe, create_app_session(input=pipe, output=DummyOutput()):
        yield pipe


def tally(keyboard, keys, **protocol):
    bench = SimpleNamespace(settings=SimpleNamespace(protocol=ProtocolSettings(**protocol)))
    keyboard.send_text(keys)
    return run_tally(bench, STATE)


def test_the_tally_ends_by_itself_when_the_protocol_is_full(keyboard):
    assert tally(keyboard, "1112334\r11x\x7f1\r", subsamples=2) == [(3, 1, 2, 1), (2, 0, 0, 0)]


def test_enter_twice_ends_it_early_and_escape_leaves(keyboard):
    assert tally(keyboard, "11\r\r") == [(2, 0, 0, 0)]


def test_other_keys_may_be_set(keyboard):
    assert tally(keyboard, "jjel\r\r", tally_keys="j, k, l, e") == [(2, 0, 1, 1)]


def test_leaving_gives_nothing(keyboard):
    assert tally(keyboard, "11\r1\x03") == []


def test_the_key_that_goes_back_needs_no_enter_on_an_empty_line_only(keyboard):
    session = PromptSession(key_bindings=_keys())
    keyboard.send_text("-")
    assert session.prompt("N: ") == "-"
    keyboard.send_text("8-\r")
    assert session.prompt("N: ") == "8-"
