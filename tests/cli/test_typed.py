"""What is typed: at once where it is plainly right, as typer takes it where it is not; the same values and messages."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
import typer
from typer.testing import CliRunner

from kin3d.cli import _Command

KINDS: dict[str, Any] = {
    "number": float,
    "whole": int,
    "text": str,
    "choice": Literal["left", "right"],
    "path": Path,
    "numbers": list[float],
    "low": Annotated[int, typer.Option(min=2)],
    "there": Annotated[Path, typer.Option(exists=True)],
    "no folder": Annotated[Path, typer.Option(dir_okay=False)],
}
TYPED = {
    "number": [
        "1",
        "-2.5",
        "0.1",
        "1e3",
        " 4",
        "+5",
        "5.",
        "nan",
        "x",
        "",
        "1_0",
        "٣",
        "123456789012345678901234567890",
    ],
    "whole": ["3", "-0", "007", "1.0", "x", "1e3", "12345678901234567890"],
    "text": ["", "left", "[b]"],
    "choice": ["left", "Left", "", "middle"],
    "path": ["", "a/b.toml", ".", "/", "-"],
    "numbers": ["1", "x"],
    "low": ["1", "2"],
    "there": ["/nowhere", "/"],
    "no folder": ["/", "/nowhere"],
}


def ran(cls: Any, kind: Any, words: list[str], default: Any) -> tuple[int, str]:
    """Exit code and what is said by a command with one option of a kind."""
    app = typer.Typer(add_completion=False)

    def command(**given: Any) -> None:
        typer.echo(repr(given["option"]))

    annotation = kind if hasattr(kind, "__metadata__") else Annotated[kind, typer.Option()]
    command.__annotations__ = {"option": annotation}
    parameter = inspect.Parameter("option", inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)
    command.__signature__ = inspect.Signature([parameter])  # type: ignore[attr-defined]
    app.command(**({} if cls is None else {"cls": cls}))(command)
    done = CliRunner().invoke(app, words)
    return done.exit_code, done.output


@pytest.mark.parametrize(("name", "typed"), [(n, t) for n, many in TYPED.items() for t in many])
def test_what_is_typed_is_what_typer_makes_of_it(name, typed):
    words = [f"--option={typed}"]
    plain = ran(None, KINDS[name], words, ...)
    assert ran(_Command, KINDS[name], words, ...) == plain
    assert plain[0] in (0, 2)


@pytest.mark.parametrize(
    ("name", "default"), [("number", 2.5), ("whole", 3), ("choice", "left"), ("path", Path("a")), ("numbers", None)]
)
def test_defaults_are_what_they_are_with_typer(name, default):
    assert ran(_Command, KINDS[name], [], default) == ran(None, KINDS[name], [], default)


def test_a_path_that_may_not_be_read_is_refused_as_typer_does(tmp_path, monkeypatch):
    file = tmp_path / "shut.toml"
    file.touch()
    monkeypatch.setattr("os.access", lambda *_: False)  # for root every file may be read
    words = [f"--option={file}"]
    code, said = ran(_Command, Path, words, ...)
    assert code == 2
    assert "is not readable" in " ".join(said.replace("│", " ").split())
    assert (code, said) == ran(None, Path, words, ...)
