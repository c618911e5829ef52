"""Photos counted in processes of their own, so that no file can stop the others.

A photo that takes too long, fills the memory or brings its process down costs only itself: its process is ended, the
photo is named, and another process goes on.
"""

from __future__ import annotations

import contextlib
import gc
import multiprocessing
import signal
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from pathlib import Path

from qckit.errors import one_line

__all__ = ["run_isolated"]

CPU_S = 180  # of computing for one photo; 200 megapixels take less than a minute
WALL_S = 900.0  # for a disk or a network that does not answer
MEMORY_MB = 3072  # beyond what the process holds when it starts
ON_LINUX = sys.platform.startswith("linux")
"""There processes are forked, and the system holds them to the limits. Elsewhere each loads the kit anew (a second or
two), and is watched from here.
"""
WATCH_S = 0.5  # between two looks at what a watched process uses


@dataclass
class _Worker:
    """A process, the near end of its pipe, the photo it is at since when, and what it had used by then."""

    process: multiprocessing.process.BaseProcess
    pipe: Connection
    job: int = -1
    since: float = 0.0
    cpu_s: float = 0.0
    overdone: str = ""  # the limit that it passed


def run_isolated(jobs: list, work: Callable, *, workers: int) -> Iterator[tuple[int, object]]:
    """Do jobs in other processes.

    Parameters
    ----------
    jobs : list
        Each is handed to ``work``; ``.name`` is used in messages.
    work : callable
        Returns the answer for one job; what it raises stops all. A function of a module, and jobs of plain values: away
        from Linux both travel to the processes.
    workers : int
        Processes.

    Yields
    ------
    (int, object)
        Which job, and its answer; for a job whose process was ended, the message as text.
    """
    todo = iter(range(len(jobs)))
    pool: list[_Worker] = []
    try:
        for _ in range(min(workers, len(jobs))):
            pool.append(_start(jobs, work, pool))
            _give(pool[-1], todo)
        while any(w.job >= 0 for w in pool):
            due = max(0.0, min(w.since + WALL_S for w in pool if w.job >= 0) - time.monotonic())
            ready = wait([w.pipe for w in pool if w.job >= 0], timeout=due if ON_LINUX else min(due, WATCH_S))
            for k, w in enumerate(pool):
                if w.pipe not in ready:
                    w.overdone = _overdone(w)
                if w.pipe not in ready and not w.overdone:
                    continue
                i, answer = w.job, None if w.overdone else _answer(w)
                if answer is None:
                    message = _why_ended(w, jobs[i].name)
                    pool[k] = w = _start(jobs, work, [other for other in pool if other is not w])
                    answer = (True, message)
                went_well, value = answer
                if not went_well:
                    raise value
                _give(w, todo)
                yield i, value
    finally:
        for w in pool:
            _end(w)


def _start(jobs: list, work: Callable, others: list[_Worker]) -> _Worker:
    """Start a process that waits for the number of a job."""
    near, far = multiprocessing.Pipe()
    not_mine = [near, *(w.pipe for w in others)] if ON_LINUX else []  # a forked process has them all
    process = multiprocessing.get_context("fork" if ON_LINUX else "spawn").Process(
        target=_serve, args=(jobs, work, far, not_mine, ON_LINUX), daemon=True
    )
    with warnings.catch_warnings(), contextlib.nullcontext() if ON_LINUX else _without_main():
        warnings.simplefilter("ignore", DeprecationWarning)  # other threads of the caller hold nothing that is needed
        process.start()
    far.close()
    return _Worker(process, near)


@contextlib.contextmanager
def _without_main() -> Iterator[None]:
    """Let a new process load only the kit: a script that counts photos would run once more in each."""
    main = sys.modules["__main__"]
    kept = {name: getattr(main, name) for name in ("__file__", "__spec__") if hasattr(main, name)}
    try:
        for name in kept:
            setattr(main, name, None)
        yield
    finally:
        for name, value in kept.items():
            setattr(main, name, value)


def _overdone(worker: _Worker) -> str:
    """Say which limit a process has passed; where the system holds it to the others, only that of the clock."""
    if worker.job < 0:
        return ""
    if time.monotonic() - worker.since > WALL_S:
        return f"no answer came in {WALL_S / 60:.0f} minutes, and it was given up"
    if ON_LINUX:
        return ""
    used, resident = _used(worker)
    if used - worker.cpu_s > CPU_S:
        return _TOO_LONG.format(CPU_S)
    return (
        f"it took more than {MEMORY_MB / 1024:.0f} GB of memory and was given up"
        if resident > MEMORY_MB * 2**20
        else ""
    )


def _used(worker: _Worker) -> tuple[float, int]:
    """Seconds of computing and bytes of memory of a process; 0 where it has ended, or psutil is not installed.

    Then only the clock ends a photo that never comes; ``qckit doctor`` names what is missing.
    """
    try:
        import psutil
    except ImportError:
        return 0.0, 0
    try:
        process = psutil.Process(worker.process.pid)
        return sum(process.cpu_times()[:2]), process.memory_info().rss
    except psutil.Error:
        return 0.0, 0


_TOO_LONG = "it took more than {} s of computing and was given up"


def _give(worker: _Worker, todo: Iterator[int]) -> None:
    worker.job, worker.since, worker.overdone = next(todo, -1), time.monotonic(), ""
    if not ON_LINUX:
        worker.cpu_s = _used(worker)[0]
    with contextlib.suppress(OSError):  # a process that died meanwhile is found when its answer is read
        worker.pipe.send(worker.job)


def _answer(worker: _Worker):
    try:
        return worker.pipe.recv()
    except (EOFError, OSError):
        return None


def _end(worker: _Worker) -> None:
    worker.pipe.close()
    if worker.job >= 0:
        worker.process.kill()
    worker.process.join(5)


def _why_ended(worker: _Worker, name: str) -> str:
    """Say why a photo's process is no more, and see to it that it is."""
    if worker.overdone:
        worker.process.kill()
    worker.pipe.close()
    worker.process.join(5)
    code = worker.process.exitcode
    if worker.overdone:
        why = worker.overdone
    elif code == -getattr(signal, "SIGXCPU", 0):
        why = _TOO_LONG.format(CPU_S)
    elif code == -getattr(signal, "SIGKILL", 0):
        why = "the process that counted it was ended by the system, as happens when memory runs out"
    else:
        why = f"the process that counted it broke down ({code})"
    return f"{one_line(name)}: {why}. Save the photo as JPEG, or smaller, and count it again."


def _serve(jobs: list, work: Callable, pipe: Connection, not_mine: list[Connection], limited: bool) -> None:
    """Count photos until no more come; the far side of :func:`run_isolated`."""
    gc.freeze()  # what the caller holds, such as connections, is not ours to close
    for other in not_mine:
        other.close()  # so that the end of the caller is seen
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the caller ends us
    if limited:
        _limit_memory()
    while True:
        try:
            i = pipe.recv()
        except (EOFError, OSError):
            return
        if i < 0:
            return
        if limited:
            _limit_computing()
        try:
            answer = (True, work(jobs[i]))
        except BaseException as error:  # noqa: BLE001  handed to the caller, who raises it
            answer = (False, error)
        try:
            pipe.send(answer)
        except OSError:
            return


def _limit_memory() -> None:
    import resource

    with contextlib.suppress(OSError, ValueError):
        now = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        limit = now + MEMORY_MB * 2**20
        resource.setrlimit(resource.RLIMIT_AS, (limit if hard == resource.RLIM_INFINITY else min(limit, hard), hard))
        resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))


def _limit_computing() -> None:
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF)
    with contextlib.suppress(OSError, ValueError):
        _, hard = resource.getrlimit(resource.RLIMIT_CPU)
        limit = int(used.ru_utime + used.ru_stime) + CPU_S
        resource.setrlimit(resource.RLIMIT_CPU, (limit if hard == resource.RLIM_INFINITY else min(limit, hard), hard))
