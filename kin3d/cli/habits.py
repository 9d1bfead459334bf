"""What every command has in common: ``--quiet``, ``--strict``, ``--force``, exit code, brackets kept in its help."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable
from copy import copy
from typing import Annotated, Any, get_args, get_type_hints

import typer
from typer.models import ParameterInfo

from kin3d.cli.options import LARGEST
from kin3d.cli.screen import Screen
from kin3d.errors import Finding, RequestError
from kin3d.writing.files import replacing

QUIET = Annotated[bool, typer.Option("--quiet", help="Say nothing but errors.")]
STRICT = Annotated[bool, typer.Option("--strict", help="A warning counts as failure: exit code 1.")]
FORCE = Annotated[bool, typer.Option("--force", help="Replace files that are no earlier results.")]


def with_habits(function: Callable[..., Any]) -> Callable[..., None]:
    """A command for typer: the function without its `screen`, with the options that all commands have.

    Help texts are escaped: ``[[front.shared_error]]`` is no markup.
    """
    hints = get_type_hints(function, include_extras=True)
    wants_screen = hints.pop("screen", None) is not None
    hints.pop("return", None)

    @functools.wraps(function)
    def run(quiet: bool, strict: bool, force: bool, **given: Any) -> None:
        screen = Screen(quiet, strict)
        _refuse_numbers(given)
        with replacing(force):
            function(**({"screen": screen} if wants_screen else {}), **given)
        code = screen.close()
        if code:
            raise typer.Exit(code)

    given = [p for name, p in inspect.signature(function).parameters.items() if name != "screen"]
    own = [
        inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=False, annotation=annotation)
        for name, annotation in (("quiet", QUIET), ("strict", STRICT), ("force", FORCE))
    ]
    kept = [
        p.replace(kind=inspect.Parameter.KEYWORD_ONLY, annotation=_escaped(hints[p.name])) for p in given
    ]
    made = [*kept, *own]
    run.__annotations__ = {p.name: p.annotation for p in made}
    run.__signature__ = inspect.Signature(made)  # type: ignore[attr-defined]
    run.__doc__ = _plain(_flowing(function.__doc__ or ""))
    return run


def _refuse_numbers(given: dict[str, Any]) -> None:
    """Refuse options whose number is none or beyond all measure."""
    wrong = {n: v for n, v in given.items() if isinstance(v, float) and not abs(v) <= LARGEST}
    if wrong:
        raise RequestError(
            Finding("number", f"--{name.replace('_', '-')} is {value}; a finite number up to {LARGEST:g} is expected")
            for name, value in wrong.items()
        )


def _flowing(doc: str) -> str:
    """A docstring whose paragraphs are one line each: the terminal breaks them, and not the source."""
    paragraphs = ("\n".join(line.strip() for line in part.splitlines()) for part in inspect.cleandoc(doc).split("\n\n"))
    return "\n\n".join(p if "\nkin3d " in p else " ".join(p.split("\n")) for p in paragraphs if p.strip())


def _plain(words: str) -> str:
    """A help text whose brackets are brackets and no markup."""
    if "[" not in words:
        return words
    from rich.markup import escape  # slow to import, and few commands have brackets in their help

    return escape(words)


def _escaped(annotation: Any) -> Any:
    """The annotation with the brackets of its help text escaped."""
    base, *more = get_args(annotation) if hasattr(annotation, "__metadata__") else (annotation,)
    infos = [copy(m) if isinstance(m, ParameterInfo) else m for m in more]
    for info in infos:
        if isinstance(info, ParameterInfo) and info.help:
            info.help = _plain(info.help)
    return Annotated[(base, *infos)] if infos else base
