"""Processes of this computer that work on pieces, and that may be killed.

The standard library's pool sees when one of its processes dies, but for two moments. One killed while it sends a
result leaves half of it, for whose rest the pool waits; one killed just before the pool is closed may leave the others
waiting for a lock that it held, and the pool for them. Both would be for ever, so that the processes are looked after
from here.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, suppress
from threading import Thread

END_S = 10.0  # that a pool has to notice that its processes have been ended


class OwnProcesses(ProcessPoolExecutor):
    """A pool of fresh interpreters: a forked copy of a process with threads may hang."""

    def __init__(self, workers: int) -> None:
        super().__init__(workers, multiprocessing.get_context("spawn"), _start)
        self._missed = 0
        for _ in range(workers):
            self.submit(_awake)  # they start while the pieces are made

    def look(self) -> None:
        """See whether a process has died; a pool that does not notice by the second look is broken up."""
        processes = list((self._processes or {}).values())
        self._missed = self._missed + 1 if any(not p.is_alive() for p in processes) else 0
        if self._missed > 1:
            self.end()

    def end(self) -> None:
        """End all processes; what they had not done is an error of the pool."""
        processes = list((self._processes or {}).values())
        manager: Thread | None = getattr(self, "_executor_manager_thread", None)
        for process in processes:
            process.terminate()
        for process in processes:
            process.join(END_S)
        with suppress(AttributeError, OSError):
            self._result_queue._writer.close()  # type: ignore[attr-defined]  # nobody sends the rest of what was begun
        self.shutdown(wait=False, cancel_futures=True)
        if manager is not None:
            manager.join(END_S)


@contextmanager
def own_processes(workers: int) -> Iterator[Callable[[], OwnProcesses]]:
    """Give what makes a pool, and another in place of one whose processes died; all are ended in the end."""
    made: list[OwnProcesses] = []

    def another() -> OwnProcesses:
        for pool in made:
            pool.end()
        made.append(OwnProcesses(workers))
        return made[-1]

    try:
        yield another
    finally:
        for pool in made:
            pool.end()


def _start() -> None:
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """Wait for the process that started this one, and end when it has ended, however it did."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _awake() -> None:
    pass
