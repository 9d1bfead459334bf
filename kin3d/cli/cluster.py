"""The workers of a Dask cluster, by the address of its scheduler."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager

from kin3d.errors import Finding, RequestError

PATIENCE_S = 10.0


@contextmanager
def executor_at(address: str | None) -> Iterator[Executor | None]:
    """Give the executor of a cluster, or None without an address.

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
    try:
        client = Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as problem:
        text = f"--cluster {address}: no scheduler answers there ({problem}); expected e.g. tcp://10.0.0.5:8786"
        raise RequestError(Finding("cluster", text)) from None
    with client:
        if not client.nthreads():
            text = f"--cluster {address}: the scheduler has no worker; start some with: dask worker {address}"
            raise RequestError(Finding("cluster", text))
        yield client.get_executor(pure=False, retries=3)
