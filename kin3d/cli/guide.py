"""``kin3d guide``: the pages that come with the program."""

from __future__ import annotations

from importlib.resources import files
from typing import Annotated

import typer

from kin3d.cli.screen import Screen
from kin3d.errors import Finding, RequestError


def guide(
    screen: Screen,
    page: Annotated[str | None, typer.Argument(help="Which page; without one, all are listed.")] = None,
) -> None:
    """Print a page of the guide, or list the pages: points, drawings, doubt, comparing, layouts, viewing and more.

    Example:  kin3d guide points
    """
    texts = pages()
    if page is None:
        screen.say("Pages of the guide; kin3d guide PAGE prints one:")
        width = max(map(len, texts))
        for name, text in texts.items():
            screen.say(f"  {name:<{width}}  {text.splitlines()[0].lstrip('# ')}")
        return
    if page not in texts:
        text = f'there is no page "{page}"; there are: {", ".join(texts)}'
        raise RequestError(Finding("page-unknown", text))
    for line in texts[page].splitlines():
        if not line.startswith("<!--"):
            screen.say(line)


def pages() -> dict[str, str]:
    """Text of every page by its name, in order of names."""
    folder = files("kin3d") / "guide"
    found = sorted((f.name.removesuffix(".md"), f) for f in folder.iterdir() if f.name.endswith(".md"))
    return {name: f.read_text("utf-8") for name, f in found}
