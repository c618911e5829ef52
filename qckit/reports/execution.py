"""Run a notebook in a folder of its own and in this interpreter's own kernel; keep it when it fails."""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import tempfile
from pathlib import Path

from qckit.errors import InputError, one_line
from qckit.reports.kernel import KERNELSPEC, private_kernel

__all__ = ["execute", "work_folder"]

_ENGINE = "qckit"  # its name in papermill's register


@contextlib.contextmanager
def work_folder():
    """Make a short folder with a plain name: papermill fills in braces, and sockets allow few characters."""
    base = tempfile.gettempdir()
    if "{" in base or not base.isascii():
        base = "/tmp" if os.name == "posix" else None
    folder = Path(tempfile.mkdtemp(prefix="qckit-", dir=base))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def execute(source, values: dict, work: Path, failed: Path, what: str):
    """Run a copy of the notebook in this interpreter's own kernel and return it with its outputs."""
    import nbformat
    import papermill
    from nbclient.exceptions import CellControlSignal, DeadKernelError
    from papermill.engines import papermill_engines
    from papermill.exceptions import PapermillExecutionError

    logging.getLogger("papermill").setLevel(logging.ERROR)
    copy, out = work / "in.ipynb", work / "out.ipynb"
    source.metadata.kernelspec = dict(KERNELSPEC)
    source.metadata.language_info = {"name": "python"}
    nbformat.write(source, copy)
    papermill_engines.register(_ENGINE, _writes_at_the_end())
    try:
        papermill.execute_notebook(
            str(copy),
            str(out),
            parameters=values,
            engine_name=_ENGINE,
            progress_bar=False,
            log_output=False,
            kernel_manager_class=private_kernel(work),
            resources={"metadata": {"path": str(work)}},
        )
    except PapermillExecutionError as error:
        raise _failure(error.ename, error.evalue, _keep(out, failed), what) from error
    except (DeadKernelError, CellControlSignal, RuntimeError) as error:
        raise _failure(type(error).__name__, str(error), _keep(out, failed), what) from error
    return nbformat.read(out, as_version=4)


def _writes_at_the_end():
    """Return papermill's engine, made to write the notebook once: by itself it does so twice a cell, all charts anew.

    Nobody looks at the file before; of a cell that fails and a kernel that dies it is written all the same.
    """
    from papermill.engines import NBClientEngine

    class WritesAtTheEnd(NBClientEngine):
        @classmethod
        def execute_managed_notebook(cls, nb_man, kernel_name, **options):
            place, nb_man.output_path = nb_man.output_path, None
            try:
                super().execute_managed_notebook(nb_man, kernel_name, **options)
            finally:
                nb_man.output_path = place

    return WritesAtTheEnd


def _keep(out: Path, failed: Path) -> str:
    """Keep a failed notebook and return the words that say where."""
    if not out.is_file():
        return ""
    shutil.copyfile(out, failed)
    return f" The notebook with the error: {failed}"


def _failure(ename: str, evalue: str, kept: str, what: str) -> InputError:
    """Turn the error of a cell into one line: our own messages as they are, others with their kind."""
    if ename in ("InputError", "QcError", "NeedsAttention"):
        return InputError(f"{one_line(evalue)}{kept}")
    return InputError(f"the report {what} failed: {ename}: {one_line(evalue)}.{kept}")
