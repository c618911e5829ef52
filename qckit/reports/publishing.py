"""What a kept notebook leaves out: whatever changes from run to run or tells of this machine."""

from __future__ import annotations

__all__ = ["for_keeping"]


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
