"""A kernel that is surely this interpreter's own.

A kernel looked up by name is whatever was last registered under it, perhaps another environment's, perhaps nothing at
all in a fresh virtual environment. So the kernel specification is made here, from ``sys.executable``.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

__all__ = ["KERNELSPEC", "private_kernel"]

KERNELSPEC = {"name": "python3", "display_name": "Python 3 (ipykernel)", "language": "python"}
_LONGEST_SOCKET_PATH = 90  # the system's limit is near 104 to 108 bytes, and a suffix is added


def private_kernel(work: Path):
    """Return a kernel manager class whose kernels run this interpreter and leave nothing behind.

    Parameters
    ----------
    work : Path
        Folder for the connection file, the sockets and the kernel's own settings.

    Returns
    -------
    type
        A subclass of ``jupyter_client.AsyncKernelManager``.
    """
    from jupyter_client import AsyncKernelManager
    from jupyter_client.kernelspec import KernelSpec

    connection = str(work / "kernel.json")
    use_sockets = os.name == "posix" and len(os.fsencode(connection)) < _LONGEST_SOCKET_PATH
    spec = KernelSpec(
        argv=[
            sys.executable,
            "-m",
            "ipykernel_launcher",
            "-f",
            "{connection_file}",
            "--HistoryManager.enabled=False",
            "--log-level=50",
        ],  # it is interrupted to stop it, and would say so; a cell's errors come another way
        display_name=KERNELSPEC["display_name"],
        language="python",
        env={
            "IPYTHONDIR": str(work / "ipython"),  # no start-up files of the user's: a report depends on its data only
            "MPLBACKEND": "agg",
            "PYTHONHASHSEED": "0",
            "PYTHONUTF8": "1",
            "QCKIT_PROGRESS": "off",
            "PYDEVD_DISABLE_FILE_VALIDATION": "1",
        },
    )

    class OwnKernelManager(AsyncKernelManager):
        """Starts the interpreter that runs qckit, whatever kernels are registered."""

        @property
        def kernel_spec(self):
            return spec

        def __init__(self, **kwargs):
            kwargs.update(connection_file=connection)
            if use_sockets:
                kwargs.update(transport="ipc")
            super().__init__(**kwargs)

    return OwnKernelManager
