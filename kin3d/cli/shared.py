"""Ranges of values as they are typed."""

from __future__ import annotations

from kin3d.errors import Finding, RequestError

MOST_VALUES = 200_000


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
