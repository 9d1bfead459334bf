"""Work in pieces: in this process, in several, or by an executor that somebody hands in, such as that of a cluster.

A piece carries the study that it is of; whoever works on it makes what it needs of the study once and keeps it. Results
come in the order of the pieces, so that they do not depend on who worked on which. A worker that is lost costs the
pieces that it had: they are worked on once more. Nothing is waited for without an end: while a piece does not come,
workers are looked after (`processes.py`, `dask_workers.py`), and one that is long overdue is given to another, too.
"""

from __future__ import annotations

import hashlib
import pickle
from collections import OrderedDict, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from time import monotonic
from typing import Any

from kin3d.errors import Finding, Kin3dError, RequestError
from kin3d.studies.dask_workers import DaskWorkers
from kin3d.studies.processes import OwnProcesses, own_processes
from kin3d.version import __version__

TRIES = 4  # times that a piece is handed out before its error is one
AHEAD = 3  # pieces of each worker that are on their way
LOOK_S = 2.0  # without a result, and then it is looked whether anybody works
OVERDUE_S, OVERDUE = 60.0, 10.0  # a piece that takes so long, and so many times as long as any before, may be lost
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
    longest: float = field(init=False, default=0.0)  # that a piece was waited for, s

    def __post_init__(self) -> None:
        self.digest = hashlib.sha256(self.study).hexdigest()

    def run(self, pieces: Iterable[Any]) -> Iterator[Any]:
        """Results in the order of the pieces; few pieces are held at once."""
        waiting: deque[tuple[Any, Future[Any], float]] = deque()
        ahead = AHEAD * _workers_of(self.executor)
        for piece in pieces:
            waiting.append((piece, self._submit(piece), monotonic()))
            if len(waiting) >= ahead:
                yield self._result(*waiting.popleft())
        while waiting:
            yield self._result(*waiting.popleft())

    def _submit(self, piece: Any) -> Future[Any]:
        work = self.digest, self.study, __version__, piece
        try:
            return self.executor.submit(_work, *work)
        except RuntimeError:  # broken, or ended because a process had died unseen
            if self.renew is None:
                raise
            self.executor = self.renew()
            return self.executor.submit(_work, *work)

    def _result(self, piece: Any, future: Future[Any], since: float) -> Any:
        """What became of a piece handed out at some time; one that was lost is handed out again."""
        out, tries = {future}, 1
        while True:
            done, out = wait(out, LOOK_S, FIRST_COMPLETED)
            for one in done:
                try:
                    found = one.result()
                except Kin3dError:
                    raise
                except Exception as problem:  # a lost worker has as many errors as there are executors
                    if tries == TRIES and not out:
                        raise _said(problem) from problem
                else:
                    if tries == 1:
                        self.longest = max(self.longest, monotonic() - since)
                    if isinstance(self.executor, DaskWorkers):
                        self.executor.goes_on()
                    return found
            if not done and isinstance(self.executor, DaskWorkers | OwnProcesses):
                self.executor.look()
            if not out or (tries < TRIES and self._overdue(monotonic() - since, tries)):
                out.add(self._submit(piece))
                tries += 1

    def _overdue(self, waited: float, tries: int) -> bool:
        """Whether a piece that an executor has may have been lost without a word; s."""
        return self.renew is None and waited > tries * max(OVERDUE_S, OVERDUE * self.longest)


def _said(problem: Exception) -> Exception:
    """An error of a piece in words, where it is one of the workers."""
    if isinstance(problem, BrokenProcessPool) or type(problem).__name__ == "KilledWorker":
        text = "the same piece of work ended every worker that had it, as where memory is short; "
        text += "ask for fewer workers or samples, or give the workers more memory"
    elif isinstance(problem, ImportError):
        text = f"a worker cannot import what it needs ({problem}); "
        text += f"every worker needs kin3d {__version__} and its packages"
    else:
        return problem
    return RequestError(Finding("workers-lost", text))


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
        yield Handed(DaskWorkers.of(executor), None, pickle.dumps((make, study))).run
    elif workers < 2:
        work = here or make(study)
        yield lambda pieces: map(work, pieces)
    else:
        with own_processes(workers) as renew:
            yield Handed(renew(), renew, pickle.dumps((make, study))).run


def _workers_of(executor: Executor) -> int:
    """How many work for an executor, as far as it says."""
    if isinstance(executor, DaskWorkers):
        return max(1, executor.threads() or 0)
    return getattr(executor, "_max_workers", 0) or 8


_at_hand: OrderedDict[str, Callable[[Any], Any]] = OrderedDict()  # what works on each study, in a worker


def _work(digest: str, packed: bytes, version: str, piece: Any) -> Any:
    """Work on a piece, in a worker."""
    if version != __version__:
        text = f"a worker has kin3d {__version__}, this is kin3d {version}; every worker needs the same version"
        raise RequestError(Finding("workers-version", text))
    if digest not in _at_hand:
        make, study = pickle.loads(packed)
        _at_hand[digest] = make(study)
        while len(_at_hand) > KEPT:
            _at_hand.popitem(last=False)
    return _at_hand[digest](piece)
