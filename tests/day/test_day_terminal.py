"""Keys as a terminal sends them: the tally's, and the one that goes back."""

from types import SimpleNamespace

import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from qckit.day.entry.terminal import run_dialog, run_tally
from qckit.log import open_log
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


@pytest.mark.parametrize(("then", "kept"), [("0\r", [[80, 3, 12, 76]]), ("-\r0\r", [])])
def test_the_key_that_goes_back_and_enter_are_one_answer(keyboard, room, then, kept):
    """The key went back alone, and the Enter behind it left the number empty that was to be typed anew, or began an
    entry at the menu."""
    leave = "\x04" * 3  # whatever is asked then
    keyboard.send_text("\r\r80\r33\r-\r3\r12\r76\r\r" + then + leave)
    run_dialog(room, by="op1", now="2026-11-20T09:10")
    with open_log(room) as log:
        counted = log.samples(hatch="H261119-A")[["nauplii", "umbrella", "cysts", "shells"]]
    assert counted.to_numpy().tolist() == kept
