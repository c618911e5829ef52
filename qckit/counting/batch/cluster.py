"""Counting on several computers: a Dask cluster whose workers see the same files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from qckit.errors import InputError, one_line

__all__ = ["Cluster", "run_on_cluster"]


@dataclass(frozen=True)
class Cluster:
    """A Dask cluster to count on, in place of a number of processes.

    It must be trusted: tasks and answers travel as pickles, which run programs when they are read.

    Attributes
    ----------
    scheduler : str
        Its address, ``tls://host:port`` or ``tcp://host:port``.
    tls : dict, optional
        Files ``ca``, ``cert`` and ``key`` for a ``tls://`` address.

    Examples
    --------
    >>> counting.Cluster("tcp://127.0.0.1:8786").tls is None
    True
    """

    scheduler: str
    tls: dict[str, str] | None = None


def run_on_cluster(jobs, work: Callable, cluster: Cluster):
    """Do the work of each job, which has a ``name``, on a cluster; yield (index, answer) as they finish.

    A worker that breaks down answers with a sentence that says so.

    Raises
    ------
    InputError
        Dask is not installed, nothing answers at the address, or certificates are lacking.
    OSError
        A worker could not write a file.
    """
    try:
        from distributed import Client, as_completed
    except ImportError as error:
        raise InputError(
            "--scheduler needs Dask, which is not installed. Install it with  pip install "
            "'dask[distributed]'  or leave --scheduler out."
        ) from error
    security = _security(cluster)
    try:
        client = Client(cluster.scheduler, timeout="10s", set_as_default=False, security=security)
    except (OSError, ValueError, TypeError) as error:
        raise InputError(
            f"no Dask scheduler answers at {cluster.scheduler}. Start it, or correct the address."
        ) from error
    with client:
        futures = client.map(work, jobs, pure=False)
        place = {future.key: i for i, future in enumerate(futures)}
        for future in as_completed(futures, loop=client.loop):
            i, error = place[future.key], future.exception()
            if error is None:
                yield i, future.result()
            elif isinstance(error, OSError):
                raise error
            else:
                name = one_line(jobs[i].name)
                yield i, f"{name}: the worker that counted it broke down ({one_line(error)[:200]})."


def _security(cluster: Cluster):
    """What proves each side to the other; None for an address without TLS."""
    scheduler, tls = cluster.scheduler, cluster.tls
    if not tls and not scheduler.startswith("tls://"):
        return None
    lacking = [f"--tls-{name}" for name in ("ca", "cert", "key") if not Path((tls or {}).get(name, "")).is_file()]
    if lacking or not scheduler.startswith("tls://"):
        what = f"{', '.join(lacking)} must name a file" if lacking else "the address must begin with tls://"
        raise InputError(f"a scheduler with TLS needs its certificates: {what}.")
    from distributed.security import Security

    return Security(
        require_encryption=True, tls_ca_file=tls["ca"], tls_client_cert=tls["cert"], tls_client_key=tls["key"]
    )
