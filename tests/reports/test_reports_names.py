"""Names of files made from lot names."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qckit.files import safe_name

EVIL = [
    "<script>alert(1)</script>",
    "=cmd()",
    "../../x",
    "a/b\\c",
    "quo\"te's",
    "🦐🦐",
    "x" * 200,
    "CON",
    "nul.txt",
    "",
    " ",
    ".",
    "..",
    "trailing.",
    "-rf",
    "a\nb",
    "a\x00b",
    "\ud800",
]


def test_plain_names_stay():
    assert [safe_name(n) for n in ("K-124", "2026-10", "ST-124-A_2.b")] == ["K-124", "2026-10", "ST-124-A_2.b"]


@pytest.mark.parametrize("name", EVIL)
def test_evil_names_become_safe(name):
    safe = safe_name(name)
    assert set(safe) <= set(string.ascii_letters + string.digits + "-_.")
    assert 1 <= len(safe) <= 57
    assert safe[0] not in ".-" and ".." not in safe and safe.casefold() not in {"con", "nul.txt"}


@given(st.text(max_size=80), st.text(max_size=80))
def test_two_names_never_share_a_file(one, other):
    assert (safe_name(one) == safe_name(other)) == (one == other)
