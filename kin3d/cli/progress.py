"""A progress bar for long work on a terminal; nothing at all for short work or when the output is not a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

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
        yield lambda text: status.update(f"{text} …")


@contextmanager
def progress_bar(title: str, size: int) -> Iterator[Callable[[int, int], None] | None]:
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
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
