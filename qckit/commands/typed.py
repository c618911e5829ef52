"""Command lines to be typed, as the output of a command gives them."""

from __future__ import annotations

import os
import shlex
import subprocess

import click

__all__ = ["as_typed"]


def as_typed(*words) -> str:
    """Join the words of a command line, quoted as this computer's shell wants them."""
    words = [click.format_filename(word) for word in words]
    return subprocess.list2cmdline(words) if os.name == "nt" else shlex.join(words)
