"""JupyterLab for a site: this environment's kernel, this machine only."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from qckit._paths import notebooks_dir
from qckit.errors import InputError

__all__ = ["NOTEBOOK", "lab_command", "run_lab"]

NOTEBOOK = "notebooks/today.ipynb"
_PAGE = f"/doc/tree/{NOTEBOOK}"  # one document without side bars, so that it can be used on a phone's width too


def run_lab(folder: Path, *, port: int = 0, browser: bool = True, say: Callable[[str], None] = print) -> int:
    """Start JupyterLab in a site folder and stay until it ends.

    Parameters
    ----------
    folder : path
        The site folder; the notebook of the day is put there where it is missing.
    port : int
        0: a free one.
    browser : bool
        Open a browser window.
    say : callable
        Told the address.

    Returns
    -------
    int
        JupyterLab's exit code.
    """
    folder = Path(folder)
    _put_notebook(folder)
    port, token = port or _free_port(), secrets.token_urlsafe(24)
    address = f"http://127.0.0.1:{port}{_PAGE}?token={token}"
    with tempfile.TemporaryDirectory(prefix="qckit-lab-") as work:
        command, environment = lab_command(folder, port=port, token=token, browser=browser, work=Path(work))
        say(f"JupyterLab for {folder}, on this machine only:")
        say(f"  {address}")
        say("The file list is behind the folder at the left, tabs come with View > Appearance > Simple Interface.")
        say("Ctrl-C twice ends it.")
        return _stay_with(subprocess.Popen(command, env=environment))


def _stay_with(server: subprocess.Popen) -> int:
    """Wait for the server, which asks by itself at Ctrl-C; it never outlives this program."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    try:
        while True:
            try:
                return server.wait()
            except KeyboardInterrupt:
                continue
    finally:
        if server.poll() is None:
            server.terminate()
            server.wait()


def lab_command(folder: Path, *, port: int, token: str, browser: bool, work: Path):
    """Return the command line and the environment that start JupyterLab.

    Parameters
    ----------
    folder, port, token, browser
        As for :func:`run_lab`.
    work : Path
        Folder for this run's kernel specification.

    Returns
    -------
    tuple of (list of str, dict of str to str)
    """
    spec = work / "kernels" / "python3"
    spec.mkdir(parents=True)
    argv = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
    kernel = {"argv": argv, "display_name": "Python 3 (qckit)", "language": "python", "metadata": {"debugger": True}}
    (spec / "kernel.json").write_text(json.dumps(kernel), encoding="utf-8")
    quiet = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}  # asks, and asks the network
    config = work / "config" / "labconfig"
    config.mkdir(parents=True)
    (config / "page_config.json").write_text(json.dumps(quiet), encoding="utf-8")
    command = [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder}", "--ip=127.0.0.1"]
    command += [f"--port={port}", "--ServerApp.port_retries=0", f"--LabApp.default_url={_PAGE}"]
    command += ["--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate"]
    command += ["--LabApp.extension_manager=readonly", "--log-level=ERROR"]
    command += [] if browser else ["--no-browser"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    paths = [str(work), *filter(None, [os.environ.get("JUPYTER_PATH")])]
    configs = [str(work / "config"), *filter(None, [os.environ.get("JUPYTER_CONFIG_PATH")])]
    environment = os.environ | {
        "JUPYTER_TOKEN": token,  # by the environment, so that no list of processes shows it
        "JUPYTER_PATH": os.pathsep.join(paths),
        "JUPYTER_CONFIG_PATH": os.pathsep.join(configs),
        "JUPYTER_PREFER_ENV_PATH": "0",
        "QCKIT_SITE": str(folder),
    }
    return command, environment


def _put_notebook(folder: Path) -> None:
    """Copy the notebook of the day into a site that has none; one that is there stays."""
    target, source = folder / NOTEBOOK, notebooks_dir() / Path(NOTEBOOK).name
    if target.exists():
        return
    if not source.is_file():
        raise InputError(
            f"{target}: is not there, and the kit's own copy ({source}) is missing. Install the kit again."
        )
    target.parent.mkdir(exist_ok=True)
    shutil.copyfile(source, target)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
