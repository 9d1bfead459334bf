"""Work in pieces: in this process, in several, or by an executor that somebody hands in, such as that of a cluster.

A piece carries the study that it is of; whoever works on it makes what it needs of the study once and keeps it. Results
come in the order of the pieces, so that they do not depend on who worked on which. A worker that is lost costs the
pieces that it had: they are worked on once more.
"""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import pickle
from collections import OrderedDict, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Thread
from typing import Any

from kin3d.errors import Kin3dError

TRIES = 4  # times that a piece is handed out before its error is one
AHEAD = 3  # pieces of each worker that are on their way
KEPT = 4  # studies whose makings a worker keeps
Make = Callable[[Any], Callable[[Any], Any]]  # of a study, what works on a piece of it
PieceRunner = Callable[[Iterable[Any]], Iterator[Any]]


@dataclass(slots=True)
class Handed:
    """Pieces on their way to workers.

    Attributes
    ----------
    executor : Executor
    renew : callable or None
        Makes another executor in place of one whose processes died; None: it looks after itself.
    study : bytes
        What makes the work, and the study, packed.
    """

    executor: Executor
    renew: Callable[[], Executor] | None
    study: bytes
    digest: str = field(init=False)

    def __post_init__(self) -> None:
        self.digest = hashlib.sha256(self.study).hexdigest()

    def run(self, pieces: Iterable[Any]) -> Iterator[Any]:
        """Results in the order of the pieces; few pieces are held at once."""
        waiting: deque[tuple[Any, Future[Any]]] = deque()
        ahead = AHEAD * _workers_of(self.executor)
        for piece in pieces:
            waiting.append((piece, self._submit(piece)))
            if len(waiting) >= ahead:
                yield self._result(*waiting.popleft())
        while waiting:
            yield self._result(*waiting.popleft())

    def _submit(self, piece: Any) -> Future[Any]:
        try:
            return self.executor.submit(_work, self.digest, self.study, piece)
        except BrokenProcessPool:
            if self.renew is None:
                raise
            self.executor = self.renew()
            return self.executor.submit(_work, self.digest, self.study, piece)

    def _result(self, piece: Any, future: Future[Any]) -> Any:
        """What became of a piece; one that was lost is handed out again."""
        for _ in range(TRIES - 1):
            try:
                return future.result()
            except Kin3dError:
                raise
            except Exception:  # noqa: BLE001 - a lost worker has as many errors as there are executors
                future = self._submit(piece)
        return future.result()


@contextmanager
def by_workers(
    make: Make, study: Any, workers: int = 1, executor: Executor | None = None, here: Callable[[Any], Any] | None = None
) -> Iterator[PieceRunner]:
    """Give what turns pieces into results, in their order.

    Parameters
    ----------
    make : callable
        A function of a module, of the study: gives what works on a piece.
    workers : int
        Processes, where there is no executor; 1: this one.
    executor : concurrent.futures.Executor, optional
        Who works instead. It stays open.
    here : callable, optional
        What works on a piece in this process, where it is made already.
    """
    if executor is not None:
        yield Handed(executor, None, pickle.dumps((make, study))).run
    elif workers < 2:
        work = here or make(study)
        yield lambda pieces: map(work, pieces)
    else:
        with _pools(workers) as renew:
            yield Handed(renew(), renew, pickle.dumps((make, study))).run


@contextmanager
def _pools(workers: int) -> Iterator[Callable[[], Executor]]:
    """Give what makes a pool of fresh processes; all are closed in the end."""
    made: list[ProcessPoolExecutor] = []
    # a fresh interpreter each: a forked copy of a process with threads may hang
    context = multiprocessing.get_context("spawn")

    def another() -> Executor:
        made.append(ProcessPoolExecutor(workers, context, _start))
        for _ in range(workers):
            made[-1].submit(_awake)  # they start while the pieces are made
        return made[-1]

    try:
        yield another
    finally:
        for pool in made:
            pool.shutdown(cancel_futures=True)


def _workers_of(executor: Executor) -> int:
    """How many work for an executor, as far as it says."""
    client: Any = getattr(executor, "_client", None)  # Dask's; others know their own number
    threads = client.nthreads().values() if hasattr(client, "nthreads") else ()
    return max(1, sum(threads) or getattr(executor, "_max_workers", 0) or 8)


_at_hand: OrderedDict[str, Callable[[Any], Any]] = OrderedDict()  # what works on each study, in a worker


def _work(digest: str, packed: bytes, piece: Any) -> Any:
    """Work on a piece, in a worker."""
    if digest not in _at_hand:
        make, study = pickle.loads(packed)
        _at_hand[digest] = make(study)
        while len(_at_hand) > KEPT:
            _at_hand.popitem(last=False)
    return _at_hand[digest](piece)


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
