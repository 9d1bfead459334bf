"""A Dask scheduler here and workers that nobody starts again, for tests; and a clock that ends a test which hangs."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from tests.speed.workers import WORKER

START_S = 60  # that workers have to come


@contextmanager
def no_longer_than(seconds: int) -> Iterator[None]:
    """Raise TimeoutError in the main thread, whatever it waits for (POSIX)."""

    def stop(*_: Any) -> None:
        raise TimeoutError(f"still waiting after {seconds} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


@dataclass
class HandCluster:
    """A scheduler, its client, and workers started by hand; `workers` are those that live."""

    client: Any
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def address(self) -> str:
        """Of the scheduler."""
        return str(self.client.scheduler.address)

    def start(self, count: int) -> None:
        """Bring the living workers to so many, a process and a thread each, without what would start them again."""
        command = [sys.executable, "-m", "distributed.cli.dask_worker", self.address, "--nthreads", "1"]
        command += ["--no-nanny", "--no-dashboard"]
        environment = {**os.environ, **{k: str(v) for k, v in WORKER.items()}}
        self.workers = [w for w in self.workers if w.poll() is None]
        for _ in range(count - len(self.workers)):
            quiet = subprocess.DEVNULL
            self.workers.append(subprocess.Popen(command, env=environment, stdout=quiet, stderr=quiet))
        self.client.wait_for_workers(count, timeout=START_S)

    def kill(self) -> int:
        """Kill the worker that was started last; give its process id."""
        victim = self.workers.pop()
        victim.kill()
        victim.wait()
        return victim.pid


@contextmanager
def hand_cluster() -> Iterator[HandCluster]:
    """Give a scheduler without workers."""
    from distributed import Client, LocalCluster

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with (
            LocalCluster(n_workers=0, processes=True, dashboard_address=None, silence_logs=50) as cluster,
            Client(cluster.scheduler_address, set_as_default=False) as client,
        ):
            made = HandCluster(client)
            try:
                yield made
            finally:
                for worker in made.workers:
                    worker.kill()
                    worker.wait()


class KillingProgress:
    """A progress that kills once some of the work is done, and keeps what it is told."""

    def __init__(self, kill: Callable[[], int]) -> None:
        self.kill, self.killed = kill, 0
        self.told: list[tuple[int, int]] = []
        self.said: list[str] = []

    def __call__(self, done: int, total: int) -> None:
        self.told.append((done, total))
        if not self.killed and done < total:
            self.killed = self.kill()

    def say(self, text: str) -> None:
        """As the command line's progress."""
        self.said.append(text)
