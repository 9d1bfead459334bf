"""What the commands share: ranges and error output."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from kin3d.errors import Finding, Kin3dError, RequestError, Severity

_STYLE = {Severity.ERROR: "bold red", Severity.WARNING: "yellow", Severity.NOTE: "cyan"}
MOST_VALUES = 200_000


def show_error(error: Kin3dError) -> None:
    """Print every finding of an error, one a line, to standard error."""
    console = Console(stderr=True, soft_wrap=True)
    for finding in error.findings:
        show_finding(console, finding)
    count = len(error.findings)
    # a result that could not be written was computed all the same
    end = "" if any(f.code == "not-written" for f in error.findings) else "; nothing was computed"
    console.print(Text(f"{count} error{'s' if count > 1 else ''}{end}.", "bold"))


def show_finding(console: Console, finding: Finding) -> None:
    """Print one finding: its severity, then where, what and what to do."""
    line = Text(f"{finding.severity}: ", _STYLE[finding.severity])
    console.print(line.append(str(finding), "default"), soft_wrap=True)


def parse_values(text: str, option: str) -> list[float]:
    """Read ``START:STOP:STEP`` (both ends included), one value, or a comma list.

    Raises
    ------
    RequestError
        With the option's name and what was expected.
    """
    expected = "expected START:STOP:STEP (both ends included, e.g. -40:40:2.5), one value, or a comma list"
    try:
        numbers = [float(part) for part in text.split(":" if ":" in text else ",")]
        if not all(abs(v) < float("inf") for v in numbers):
            raise RequestError(Finding("range", f'{option} "{text}": not a finite number; {expected}'))
        if ":" not in text:
            return numbers
        start, stop, step = numbers
        return _range(start, stop, step)
    except ValueError as problem:
        raise RequestError(Finding("range", f'{option} "{text}": {expected}{_why(problem)}')) from None


def _why(problem: ValueError) -> str:
    said = str(problem)
    return f" ({said})" if said.startswith("the ") else ""


def _range(start: float, stop: float, step: float) -> list[float]:
    if not step or (stop - start) / step < 0:
        raise ValueError("the step must lead from START to STOP")
    count = (stop - start) / step
    if not count < MOST_VALUES:
        raise ValueError(f"the range has more than {MOST_VALUES:,} values")
    whole = round(count)
    if abs(count - whole) > 1e-9 * max(1.0, abs(count)):
        raise ValueError("the step does not divide the range, so that STOP would be left out")
    # rounded so that -40:40:0.1 gives 0.3 and not 0.30000000000000004
    return [round(start + k * step, 9) + 0.0 for k in range(whole + 1)]
