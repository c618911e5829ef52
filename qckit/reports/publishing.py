"""Put finished files and folders in place in one step; leave out what changes from run to run."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from qckit.reports.names import safe_name

__all__ = ["for_keeping", "swap_in", "write_whole"]


def for_keeping(executed):
    """Drop clock readings, random names and folders of this machine, so that the same run gives the same file."""
    executed.metadata.pop("papermill", None)
    executed.metadata.pop("widgets", None)
    executed.metadata.language_info = {"name": "python"}
    for cell in executed.cells:
        for key in ("papermill", "execution", "ExecuteTime"):
            cell.metadata.pop(key, None)
        if "injected-parameters" in cell.metadata.get("tags", []):
            cell.id = "injected-parameters"
            cell.source = "\n".join(map(_without_folder, cell.source.splitlines()))
    return executed


def _without_folder(line: str) -> str:
    name = line.split(" = ")[0]
    return f'{name} = ""' if name in ("site", "out_dir") else line


def swap_in(result: Path, folder: Path) -> None:
    """Put a finished folder in place of an older one; a reader sees the old or the new, never a half."""
    mark = f"{os.getpid()}-{safe_name(folder.name)[-12:]}"
    fresh, old = folder.with_name(f".new-{mark}"), folder.with_name(f".old-{mark}")
    for leftover in (fresh, old):
        shutil.rmtree(leftover, ignore_errors=True)
    shutil.copytree(result, fresh)
    if folder.exists():
        folder.rename(old)
    fresh.rename(folder)
    shutil.rmtree(old, ignore_errors=True)


def write_whole(path: Path, text: str) -> None:
    """Write a text file in one step, so that no half-written file is ever read."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    fresh.write_text(text, encoding="utf-8")
    fresh.replace(path)
