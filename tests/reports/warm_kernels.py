"""Kernels that begin at once: each is forked from one process that has loaded what the reports load.

A kernel by itself loads numpy, pandas, matplotlib and the kit for seconds before its first cell runs. Tests of what
stands on a page use these; those of how a kernel starts and ends, and the demo, start kernels as users do.

    python warm_kernels.py serve SOCKET            the process that is forked; it ends with the one that began it
    python warm_kernels.py kernel SOCKET ARGV...   stands for one kernel until that ends, with its exit code
"""

import contextlib
import json
import os
import select
import signal
import socket
import sys
from pathlib import Path

LOADED = (
    *("ipykernel.kernelapp", "IPython.core.display", "matplotlib.pyplot", "matplotlib.backends.backend_svg"),
    *("scipy.stats", "scipy.optimize", "sqlalchemy.dialects.sqlite", "PIL.JpegImagePlugin", "PIL.PngImagePlugin"),
    *("qckit.log.store", "qckit.reports.lot_report", "qckit.reports.lot_depth", "qckit.reports.month_report"),
    *("qckit.reports.month_other", "qckit.reports.poor_report", "qckit.verdicts.month.study"),
)


def stand_for(place, argv):
    """Ask for a kernel and wait for its end."""
    with socket.socket(socket.AF_UNIX) as ask:
        ask.connect(place)
        socket.send_fds(ask, [b"?"], [0, 1, 2])
        ask.sendall(json.dumps({"argv": argv, "env": dict(os.environ), "cwd": str(Path.cwd())}).encode() + b"\n")
        said = ask.recv(16)
    return int(said or 1)


def serve(place):
    """Load everything, then fork a kernel for each that asks, until this process or the one that began it is ended."""
    import importlib

    began_by = os.getppid()
    for name in LOADED:
        importlib.import_module(name)
    kernels = {}  # connection -> process
    with socket.socket(socket.AF_UNIX) as door:
        door.bind(f"{place}.new")
        door.listen()
        Path(f"{place}.new").rename(place)  # whoever sees it can ask
        while os.getppid() == began_by:
            for ready in select.select([door, *kernels], [], [], 0.05)[0]:
                if ready is door:
                    begin(door, kernels)
                else:  # whoever stood for the kernel was ended: so is the kernel
                    os.kill(kernels[ready], signal.SIGKILL)
            for connection, process in list(kernels.items()):
                ended, status = os.waitpid(process, os.WNOHANG)
                if ended:
                    with contextlib.suppress(OSError):
                        connection.sendall(str(os.waitstatus_to_exitcode(status)).encode())
                    connection.close()
                    del kernels[connection]
    for process in kernels.values():  # tests that were killed leave none
        os.kill(process, signal.SIGKILL)
    return 0


def begin(door, kernels):
    """Fork one kernel."""
    connection, _ = door.accept()
    _, files, _, _ = socket.recv_fds(connection, 1, 3)
    with connection.makefile("rb") as words:
        asked = json.loads(words.readline())
    process = os.fork()
    if process:
        for file in files:
            os.close(file)
        kernels[connection] = process
        return
    for other in (door, connection, *kernels):
        other.close()
    for number, file in enumerate(files):
        os.dup2(file, number)
        os.close(file)
    os.chdir(asked["cwd"])
    os.environ.clear()
    os.environ.update(asked["env"])
    os.environ.pop("JPY_PARENT_PID", None)  # the process that asked is no parent of this one
    from ipykernel.kernelapp import IPKernelApp

    code = 1
    try:
        IPKernelApp.launch_instance(argv=asked["argv"])
        code = 0
    finally:
        os._exit(code)


if __name__ == "__main__":
    what, place, *rest = sys.argv[1:]
    sys.exit(serve(place) if what == "serve" else stand_for(place, rest))
