"""The command line: one command a file, a thin shell over the Python face. No maths here."""

from __future__ import annotations

import errno
import gc
import os
import sys
import warnings
from collections.abc import Callable
from contextlib import suppress
from importlib import import_module
from io import TextIOWrapper
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperCommand, TyperGroup

from kin3d.cli.habits import with_habits
from kin3d.cli.screen import show_error
from kin3d.cli.typed import quicken
from kin3d.errors import Kin3dError

FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)
# name of the command, its module in this folder, its function
COMMANDS = (
    ("new", "new", "new"),
    ("check", "check", "check"),
    ("import", "import_", "import_drawing"),
    ("locate", "locate", "locate"),
    ("mark", "mark", "mark"),
    ("sweep", "sweep", "sweep"),
    ("view", "view", "view"),
    ("measures", "measures", "measures"),
    ("layouts", "layouts", "layouts"),
    ("rates", "rates", "rates"),
    ("export", "export", "export"),
    ("settle", "settle", "settle"),
    ("forces", "forces", "forces"),
    ("clearance", "clearance", "clearance"),
    ("draw", "draw", "draw"),
    ("swap", "swap", "swap"),
    ("tune", "tune", "tune"),
    ("tolerance", "tolerance", "tolerance"),
    ("sensitivity", "sensitivity", "sensitivity"),
    ("compare", "compare", "compare"),
    ("report", "report", "report"),
    ("guide", "guide", "guide"),
)
# commands that do something without any argument
BARE = ("measures", "layouts", "guide")

CAUTION = (
    "Results are kinematics of rigid bodies from the points given. Strength, safety and the rule book are for "
    "qualified people and local codes."
)


COMPLETION = "_KIN3D_COMPLETE"  # set by a shell that asks for completions


class _Quick:
    """What is called with parameters, its help option among them: they take at once what is plainly right."""

    def get_params(self, ctx: Any) -> list[Any]:
        params: list[Any] = super().get_params(ctx)  # type: ignore[misc]
        for parameter in params:
            quicken(parameter)
        return params


class _Command(_Quick, TyperCommand):
    """A command."""


class _Commands(_Quick, TyperGroup):
    """All commands."""


def build(only: str | None = None) -> typer.Typer:
    """The application with all its commands, or with the one that is called: the others need not be imported.

    Completion for shells is there where it is asked for or at work; setting it up would slow every command.
    """
    called = [c for c in COMMANDS if c[0] == only] or COMMANDS
    app = typer.Typer(
        name="kin3d",
        cls=_Commands,
        help=f"3D kinematics of suspension linkages from pickup points.\n\n{CAUTION}",
        no_args_is_help=True,
        add_completion=called is COMMANDS or COMPLETION in os.environ,
        rich_markup_mode="rich",
        pretty_exceptions_enable=False,
    )
    app.callback()(_group)
    for name, module, function in called:
        run: Callable[..., Any] = getattr(import_module(f"kin3d.cli.{module}"), function)
        app.command(name, cls=_Command, no_args_is_help=name not in BARE)(with_habits(run))
    return app


def _version(asked: bool) -> None:
    if asked:
        from kin3d import __version__

        typer.echo(f"kin3d {__version__}")
        raise typer.Exit


def _group(
    version: Annotated[bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which.")] = False,
) -> None:
    pass


_group.__doc__ = f"3D kinematics of suspension linkages from pickup points.\n\n{CAUTION}"


def main() -> None:
    """What ``kin3d`` runs; exit code 2 for a mistake in the input, 1 when positions were not reached."""
    # typer may load pydantic, whose plugins are not wanted: looking for one reads the metadata of every package
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # all matrices are small: threads of linear algebra wait for each other longer than they work
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # a huge page is cleared whole before anything stands in it, which takes longer than what is then done there
    os.environ.setdefault("NUMPY_MADVISE_HUGEPAGE", "0")
    warnings.simplefilter("ignore", RuntimeWarning)  # numpy's; what has no value is told as a finding
    warnings.filterwarnings("ignore", message="Glyph .* missing from")  # a letter that no font has is drawn as a box
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # what a terminal cannot show becomes a question mark, and no failure
            stream.reconfigure(errors="replace")
    try:
        _run()
    except OSError as error:  # files have errors of their own: what is left is the output, or a bug
        if error.errno not in FULL:
            raise
        _give_up(error)
    finally:
        gc.freeze()  # what is left when the process ends need not be searched for circles: a quarter of a short command


def _run() -> None:
    try:
        build(sys.argv[1] if len(sys.argv) > 1 else None)()
    except Kin3dError as error:
        show_error(error)
        sys.exit(2)


def _give_up(error: OSError) -> NoReturn:
    """Say that the output's place is full, where that can be said, and let go what the streams still hold."""
    with suppress(OSError):
        sys.stderr.write(f"error: the output cannot be written: {error.strerror}\n")
        sys.stderr.flush()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):  # it would be told again as the process ends
        os.dup2(nowhere, stream.fileno())
    sys.exit(2)
