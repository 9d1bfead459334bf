"""A progress bar for long work on a terminal; nothing at all for short work or when the output is not a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID

LONG_WORK = 20_000  # positions from which a bar is worth its line


@contextmanager
def doing() -> Iterator[Callable[[str], None] | None]:
    """Give a function that shows what is being done, or None where the output is not a terminal."""
    from rich.console import Console

    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    with console.status("") as status:
        yield lambda text: status.update(f"{text} …") if text else None


@dataclass(frozen=True, slots=True)
class ProgressLine:
    """A bar with words before it: called with what is done and in all."""

    bar: Progress
    task: TaskID
    title: str

    def __call__(self, done: int, total: int) -> None:
        """Move the bar."""
        self.bar.update(self.task, completed=done, total=total)

    def say(self, text: str) -> None:
        """Show other words before the bar, or its title again where there are none."""
        self.bar.update(self.task, description=text or self.title)


@contextmanager
def progress_bar(title: str, size: int) -> Iterator[ProgressLine | None]:
    """Give a function (done, total) that moves a bar, or None where there is none."""
    if size < LONG_WORK:
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    with Progress(console=console, transient=True) as bar:
        yield ProgressLine(bar, bar.add_task(title, total=None), title)
