"""What has to be borne in mind with the verdicts of a comparison, in words."""

from __future__ import annotations

from collections.abc import Iterator

from kin3d.studies.compared import ComparedCar
from kin3d.studies.uncertainty import Uncertainty

INDEPENDENT = (
    "The errors of the cars are taken as independent. Points taken off in the same way may err alike; the difference "
    "is then better known than said here."
)
SAME_ERRORS = (
    "{count} errors are the same in both cars: what they do alike drops out of the differences. All others are taken "
    "as independent."
)
ONE_BY_ONE = (
    "{count} lines were judged, each by itself: if none of them differed in truth, doubt alone would still let about "
    "{false} be said."
)


def cautions(a: ComparedCar, b: ComparedCar, judged: int, threshold: float) -> tuple[str, ...]:
    """What has to be borne in mind with the verdicts of a pair of which so many lines were judged."""
    unknown = [c.title for c in (a, b) if not c.known]
    if len(unknown) == 2:
        return (
            "Neither car's points carry deviations, nor do its figures, so that nothing is said of how sure the "
            "differences are.",
        )
    said = [f"The points and figures of {t} carry no deviations and are taken as exact." for t in unknown]
    count = ONE_BY_ONE.format(count=judged, false=f"{(1.0 - threshold) * judged:.1f}")
    return (*said, *_exact(a, b), _shared(a.tolerance.uncertainty, b.tolerance.uncertainty), *([count] * bool(judged)))


def _exact(a: ComparedCar, b: ComparedCar) -> Iterator[str]:
    """What is taken as exact of cars that have deviations of anything."""
    names = {c.label: ", ".join(c.tolerance.exact) for c in (a, b) if c.known}
    if len(names) == 2 and names[a.label] == names[b.label]:
        names = {"both cars": names[a.label]}
    yield from (f"Without a deviation, taken as exact in {label}: {told}." for label, told in names.items() if told)


def _shared(a: Uncertainty, b: Uncertainty) -> str:
    same = set(a.identities) & set(b.identities)
    return SAME_ERRORS.format(count=len(same)) if same else INDEPENDENT
