"""What the flags of photos are called where there is no room for their sentence."""

from __future__ import annotations

from qckit.columns import listed_in

__all__ = ["FLAG_WORDS", "say_flags"]

FLAG_WORDS = {
    "dark": "too dark",
    "bright": "burnt out to white",
    "blurred": "out of focus",
    "crowded": "too crowded",
    "clumps": "clumps not taken apart",
    "scale": "scale in doubt",
    "few": "too few animals",
    "foreign": "other things in it",
    "finding": "nauplii stand out poorly",
    "unsure": "stages in doubt",
    "groups": "cysts and shells look alike",
    "unlike": "unlike the photos checked",
    "readers": "the two readings differ",
    "alone": "read in one way only",
    "damaged": "photo damaged",
    "weave": "a sieve in it, and taken as a subsample",
    "squares": "a chamber in it, and taken on a sieve",
}
"""Code of a flag -> its words; the sentence of ``counting.Flag`` says more."""


def say_flags(codes: object) -> str:
    """Write the flags of a photo, ``unsure;groups``, in words; empty where it has none."""
    return ", ".join(FLAG_WORDS.get(code, code) for code in dict.fromkeys(listed_in(codes)))
