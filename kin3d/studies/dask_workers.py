"""The workers of a Dask scheduler, which may go for good: who waits for them is told, and does not wait for ever.

A piece whose worker is killed goes to another one by itself; where none is left, the scheduler keeps it until one
comes. Dask does not say so to the one who waits, and knows no end of it. So the workers are looked after from here.
Results are fetched here, too: Dask's own executor forgets a piece whose fetching fails.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from time import monotonic
from typing import Any

from kin3d.errors import Finding, RequestError

WITHOUT_S = 60.0  # that a study waits without any worker, or without a scheduler
ANSWER_S = 5.0  # that the scheduler has for an answer


@dataclass(slots=True)
class DaskWorkers(Executor):
    """Hands work to the workers of a Dask client, and sees whether there are any.

    Attributes
    ----------
    client : distributed.Client
    say : callable, optional
        Told in words what is waited for, and "" when work goes on.
    options : mapping
        Of ``client.submit``, such as ``workers``.
    """

    client: Any
    say: Callable[[str], None] | None = None
    options: Mapping[str, Any] = field(default_factory=dict)
    _without: float | None = field(init=False, default=None)  # since when nobody works

    @staticmethod
    def of(executor: Executor) -> Executor:
        """These for the executor of a Dask client; any other as it is."""
        client = getattr(executor, "_client", None)
        if not hasattr(client, "scheduler"):
            return executor
        return DaskWorkers(client, options=getattr(executor, "_kwargs", {}))

    def submit(self, function: Callable[..., Any], /, *args: Any, **more: Any) -> Future[Any]:
        """As of `Executor`.

        Raises
        ------
        RequestError
            Where the client has lost its scheduler.
        """
        if self._closed():
            raise self._gone()
        # not pure: a piece that is handed out again is worked on again
        handed = self.client.submit(function, *args, **more, **{**self.options, "pure": False})
        out: Future[Any] = Future()
        self.client.loop.add_callback(_fetch, handed, out)
        return out

    def threads(self) -> int | None:
        """How many pieces are worked on at once; None: the scheduler does not answer."""
        if self._closed():
            return None
        try:
            found = self.client.sync(self.client.scheduler.ncores, workers=None, callback_timeout=ANSWER_S)
        except Exception:  # noqa: BLE001 - of the network, the loop, and Dask's own
            return None
        return int(sum(found.values()))

    def look(self) -> None:
        """See whether anybody works; while nobody does, say so.

        Raises
        ------
        RequestError
            Where nobody has worked for long.
        """
        there, now = self.threads(), monotonic()
        if there:
            self.goes_on()
            return
        if self._without is None:
            self._without = now
        left = WITHOUT_S - (now - self._without)
        if there is None and (self._closed() or left <= 0.0):
            raise self._gone()
        if left <= 0.0:
            text = f"no worker has been left for {WITHOUT_S:.0f} s, and the study is given up; "
            text += f"start workers again (dask worker {self._address()}) and ask once more"
            raise RequestError(Finding("cluster", text))
        what = "the scheduler does not answer" if there is None else "no worker is left"
        self._tell(f"{what}; waiting for up to {left:.0f} s")

    def goes_on(self) -> None:
        """Take back what was said: somebody works, or has just given a result."""
        if self._without is not None:
            self._tell("")
        self._without = None

    def _closed(self) -> bool:
        return bool(self.client.status in ("closing", "closed"))

    def _address(self) -> str:
        return str(getattr(self.client.scheduler, "address", "ADDRESS"))

    def _gone(self) -> RequestError:
        text = "the Dask scheduler has gone, and the study is given up; "
        return RequestError(Finding("cluster", text + "start it and its workers again and ask once more"))

    def _tell(self, text: str) -> None:
        if self.say is not None:
            self.say(text)


async def _fetch(handed: Any, out: Future[Any]) -> None:
    """Wait for a Dask future, in the client's loop, and put what became of it into another."""
    try:
        found = await handed
    except Exception as problem:  # noqa: BLE001 - the work's own, or of the way to it
        out.set_exception(problem)
    except BaseException as problem:
        out.set_exception(ConnectionError(f"cancelled: {problem}"))
        raise
    else:
        out.set_result(found)
