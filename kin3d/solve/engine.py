"""Which of two engines runs the tapes: numpy, or machine code through LLVM. Both give the same bits.

Machine code has to be made first, which takes as long as some hundred thousand positions with numpy. So it is made for
a linkage that has been asked for so many, by and by or at once; for small numbers of lanes numpy is as quick.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from importlib.util import find_spec
from typing import Literal, get_args

from kin3d.errors import Finding, RequestError

EngineName = Literal["auto", "numpy", "llvm"]
NAMES: tuple[str, ...] = get_args(EngineName)
VARIABLE = "KIN3D_ENGINE"  # of the environment, which processes that are started from here have too
WORTH_COMPILING = 100_000  # lanes (or runs of as much work) after which machine code has paid
WORTH_CALLING = 512  # lanes from which it is quicker once it is there
WORTH_OPTIMISING = 1_000_000  # lanes after which it has paid to let LLVM think: four times as long for a third less
_coming: ContextVar[int] = ContextVar("coming", default=0)  # lanes that are known to be asked for


@contextmanager
def using_engine(name: EngineName | None) -> Iterator[None]:
    """Run with an engine, in this process and in those that it starts meanwhile; None: as it is.

    Raises
    ------
    RequestError
        For a name that is none, and for "llvm" where llvmlite is not installed.
    """
    if name is not None and name not in NAMES:
        raise RequestError(Finding("engine", f'no engine "{name}"; there are: {", ".join(NAMES)}'))
    if name == "llvm" and not installed():
        text = 'engine "llvm" needs llvmlite, which is not installed: pip install "kin3d[fast]"'
        raise RequestError(Finding("engine", text))
    before = os.environ.get(VARIABLE)
    if name is not None:
        os.environ[VARIABLE] = name
    try:
        yield
    finally:
        os.environ.pop(VARIABLE, None)
        if before is not None:
            os.environ[VARIABLE] = before


def engine() -> str:
    """The engine that was chosen; "auto" where none was."""
    return os.environ.get(VARIABLE) or "auto"


def installed() -> bool:
    """Whether llvmlite is there."""
    return find_spec("llvmlite") is not None


@contextmanager
def expecting(lanes: int) -> Iterator[None]:
    """Run what is known to ask for so many lanes: machine code that pays for them all is made at once."""
    token = _coming.set(lanes)
    try:
        yield
    finally:
        _coming.reset(token)


class Worth:
    """Keeps count of the lanes of one tape, and says when machine code is the quicker way."""

    def __init__(self) -> None:
        self.lanes = 0
        self.made = False

    def __call__(self, lanes: int) -> bool:
        """Whether so many lanes are to be run by machine code."""
        name = engine()
        if name == "numpy" or not lanes:
            return False
        if name == "llvm":
            return installed()
        self.lanes += lanes
        if not self.made:
            self.made = max(self.lanes, _coming.get()) >= WORTH_COMPILING and installed()
        return self.made and lanes >= WORTH_CALLING

    @property
    def level(self) -> int:
        """How much LLVM is to think about machine code for so many lanes: 0 not at all, or 1, as where it is forced."""
        return int(engine() == "llvm" or max(self.lanes, _coming.get()) >= WORTH_OPTIMISING)
