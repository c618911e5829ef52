"""A small site with an empty log, small notebooks, and kernels that begin at once, for runs of a second or two."""

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import nbformat
import pytest

from qckit.log import create_log

WARM = str(Path(__file__).with_name("warm_kernels.py"))
LONGEST_SOCKET_PATH = 90  # the system's limit is 108 bytes
PARAMETERS = 'site = ""  # type: str\nlot = ""  # type: str\ngrams = 1.5  # type: float g\nout_dir = ""\nnow = ""'
BODY = """
from qckit import reports
from qckit.verdicts.finding import Evidence, Figure, Finding
finding = Finding(
    "new-lot", lot, "accept", f"Lot {lot} holds.",
    [Figure("hatch_pct", "hatching percentage", 81.25, 76.0, 86.0, "%", 1)], ["Use it."],
    [Evidence("Claim", f"{lot} against its claim", "for", "claim", {})], details={"confidence": 0.95},
)
reports.save_findings(finding, out_dir)
"""


def build(cells, *, parameters=PARAMETERS):
    """Return a notebook of a parameters cell and the cells given; text that starts with # is Markdown."""
    made = []
    if parameters is not None:
        made.append(nbformat.v4.new_code_cell(parameters, metadata={"tags": ["parameters"]}))
    for text in cells:
        kind = nbformat.v4.new_markdown_cell if text.startswith("#") else nbformat.v4.new_code_cell
        made.append(kind(text))
    notebook = nbformat.v4.new_notebook(cells=made)
    for i, cell in enumerate(notebook.cells):
        cell.id = f"cell-{i}"
    return notebook


@pytest.fixture
def notebook(tmp_path):
    """Return a function that writes a notebook and returns its path."""

    def write(cells, *, parameters=PARAMETERS, name="small.ipynb"):
        path = tmp_path / name
        nbformat.write(build(cells, parameters=parameters), path)
        return path

    return write


@pytest.fixture
def site(tmp_path):
    """An empty site with a name that has to be escaped."""
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "qckit.toml").write_text('[site]\nname = "Tide & <Pool>"\n', encoding="utf-8")
    create_log(folder)
    return folder


@pytest.fixture
def body():
    """The cell of a small report that finds something."""
    return BODY


@pytest.fixture(scope="session")
def warm_place(tmp_path_factory):
    """Return a function that gives the socket of a process that forks kernels, started when first asked for.

    It gives None where kernels begin by themselves: a process that has loaded libraries is safely forked on Linux only,
    and a socket's path may not be long.
    """
    place, lock, servers = tmp_path_factory.mktemp("warm") / "kernels", threading.Lock(), []
    env = os.environ | {"MPLBACKEND": "agg", "PYTHONHASHSEED": "0", "PYTHONUTF8": "1", "QCKIT_PROGRESS": "off"}

    def get():
        if sys.platform != "linux" or len(os.fsencode(place)) > LONGEST_SOCKET_PATH:
            return None
        with lock:
            if not servers:
                servers.append(subprocess.Popen([sys.executable, WARM, "serve", place], env=env))
            until = time.monotonic() + 300
            while not place.exists():
                assert servers[0].poll() is None and time.monotonic() < until, "what forks kernels did not start"
                time.sleep(0.05)
        return str(place)

    yield get
    for server in servers:
        server.kill()
        server.wait()


@pytest.fixture
def warm_kernels(warm_place, monkeypatch):
    """Let reports of this test run in kernels that begin at once, where they can be forked."""
    from jupyter_client.kernelspec import KernelSpec

    from qckit.reports import execution

    private = execution.private_kernel

    def warm(work):
        place = warm_place()
        if place is None:
            return private(work)

        class WarmKernelManager(private(work)):
            """Starts what stands for the forked kernel."""

            @property
            def kernel_spec(self):
                spec = super().kernel_spec
                options = spec.argv[spec.argv.index("ipykernel_launcher") + 1 :]
                argv = [sys.executable, "-I", "-S", WARM, "kernel", place, *options]
                return KernelSpec(argv=argv, env=spec.env, display_name=spec.display_name, language=spec.language)

        return WarmKernelManager

    monkeypatch.setattr(execution, "private_kernel", warm)


@pytest.fixture
def first_screens(monkeypatch, tmp_path):
    """Let a month's report end before its evidence: the same study, finding, log and answer, without thirty charts."""
    from dataclasses import replace

    from qckit._paths import notebooks_dir
    from qckit.reports.run import KINDS

    notebook = nbformat.read(notebooks_dir() / KINDS["month"].notebook, as_version=4)
    end = next(i for i, cell in enumerate(notebook.cells) if cell.source.startswith("## Evidence"))
    notebook.cells = notebook.cells[:end]
    nbformat.write(notebook, tmp_path / "first_screen.ipynb")
    monkeypatch.setitem(KINDS, "month", replace(KINDS["month"], notebook=str(tmp_path / "first_screen.ipynb")))
