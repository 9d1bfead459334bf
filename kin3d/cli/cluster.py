"""The workers of a Dask cluster, by the address of its scheduler."""

from __future__ import annotations

import logging
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from contextlib import contextmanager

from kin3d.errors import Finding, RequestError
from kin3d.studies.dask_workers import DaskWorkers

PATIENCE_S = 10.0


@contextmanager
def executor_at(address: str | None, say: Callable[[str], None] | None = None) -> Iterator[Executor | None]:
    """Give the executor of a cluster, or None without an address.

    Parameters
    ----------
    say : callable, optional
        Told in words what is waited for, and "" when work goes on; None: such words are printed once.

    Raises
    ------
    RequestError
        Where dask's `distributed` is not installed, no scheduler answers, or it has no worker.
    """
    if address is None:
        yield None
        return
    try:
        from distributed import Client
    except ImportError:
        text = '--cluster needs distributed, which is not installed: pip install "kin3d[cluster]"'
        raise RequestError(Finding("cluster", text)) from None
    for name in ("distributed", "distributed.client", "tornado.application"):
        logging.getLogger(name).setLevel(logging.CRITICAL)  # what a user must know is told in a sentence
    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as problem:
        text = f"--cluster {address}: no scheduler answers there ({problem}); expected e.g. tcp://10.0.0.5:8786"
        raise RequestError(Finding("cluster", text)) from None
    with client:
        if not client.nthreads():
            text = f"--cluster {address}: the scheduler has no worker; start some with: dask worker {address}"
            raise RequestError(Finding("cluster", text))
        yield DaskWorkers(client, say or _printer())


def _printer() -> Callable[[str], None]:
    """Give what prints the first words that it is told, and those after "" anew."""
    told = [""]

    def say(text: str) -> None:
        if text and not told[-1]:
            print(text, file=sys.stderr)
        told[-1] = text

    return say
