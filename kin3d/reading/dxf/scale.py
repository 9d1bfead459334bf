"""Units, scale and size: what the drawing says, what the user says, and whether the two can both be true.

A corner or a whole car measures between `SMALLEST_MM` and `LARGEST_MM` across its points. That is wide enough for
every road or racing car and narrow enough to see a factor of 25.4 or 10 in most drawings.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from kin3d.reading.dxf.content import DrawnDimension, grouped
from kin3d.reading.dxf.fusion import SheetView
from kin3d.reading.dxf.result import Job
from kin3d.reading.dxf.wording import scales
from kin3d.units import UnitError, length_factor

SMALLEST_MM = 120.0
LARGEST_MM = 6500.0
PAPER_MM = 0.05  # one standard deviation of a mark on the sheet, mm of the paper (common practice, no source)
# $INSUNITS: what the header's code means, and how many mm that is.
HEADER_UNITS = {
    1: ("inch", 25.4), 2: ("foot", 304.8), 4: ("mm", 1.0), 5: ("cm", 10.0), 6: ("m", 1000.0), 10: ("yard", 914.4),
    13: ("micrometre", 0.001), 14: ("dm", 100.0), 21: ("survey foot", 304.8006),
}  # fmt: skip


def paper_mm(job: Job, views: Sequence[SheetView]) -> float:
    """Return one standard deviation of a mark on the sheet, mm of the car in the view of the largest car : sheet."""
    unit = length_factor(job.units) if job.units else HEADER_UNITS.get(job.unit_code or 0, ("", 1.0))[1]
    return PAPER_MM * max(v.mm_per_unit for v in views) / unit


def plausible(size: float, mm_per_unit: float) -> bool:
    """Whether points that lie `size` drawing units apart can be a car's."""
    return SMALLEST_MM <= size * mm_per_unit <= LARGEST_MM


def unit_factor(job: Job, size: float, code: int | None = None) -> float | None:
    """Return mm per drawing unit from what the user and the header say; None with an error where that fails.

    A contradiction is an error, unless the user overrides it, or the sizes themselves prove the header wrong and
    the user right (many programs write "inch" into every file): then it is a warning. `size` is the extent of the
    points in drawing units, already multiplied by the sheet's scale; `code` a unit that stands in the drawing itself.
    """
    log, units, code = job.log, job.units, code or job.unit_code
    if job.declared.mm_per_unit:
        return job.declared.mm_per_unit
    try:
        told = None if units is None else length_factor(units)
    except UnitError as err:
        log.adopt(err.findings)
        return None
    name, header = HEADER_UNITS.get(code or 0, ("", None))
    if code and header is None:
        log.warn("unit-odd", f"the header's $INSUNITS is {code}, no unit of length that a car is drawn in", "header")
    if told is not None and header is not None and abs(told / header - 1.0) >= 1e-4:
        return _contradiction(job, told, header, name, size)
    if told is not None and not code:
        log.warn("unit-not-stated", f'the file does not say its unit; taken as given: "{units}"', "header")
    factor = told or header
    if factor is None:
        more = f" ({job.unit_hint})" if job.unit_hint else ""
        text = f'the file does not say its unit (no $INSUNITS){more}: give it, units = "mm"'
        log.error("unit-missing", text, "header")
        return None
    if size <= 0.0 or plausible(size, factor):
        return factor
    span = f"the points span {size * factor:.0f} mm; a car's span {SMALLEST_MM:.0f} to {LARGEST_MM:.0f} mm"
    if told is not None:
        log.error("size-odd", f'with the unit "{units}" {span}: check unit and scale')
    else:
        log.error("unit-odd", f"the header says {name}, but then {span}: say what the unit is (units)", "header")
    return None


def _contradiction(job: Job, told: float, header: float, name: str, size: float) -> float | None:
    clash, code = f'the header says {name}, but units = "{job.units}" is given', "unit-contradiction"
    if "units" in job.declared.override:
        job.log.warn(code, f"{clash}, with the header overridden", "header")
    elif size > 0.0 and plausible(size, told) and not plausible(size, header):
        proof = f"with {name} the points would span {size * header:.0f} mm, with {job.units} {size * told:.0f} mm"
        job.log.warn(code, f"{clash}; {proof}, so the header is taken to be wrong", "header")
    else:
        hint = 'correct one, or put override = ["units"] in views.toml'
        job.log.error(code, f"{clash}, and the sizes do not tell which is right; {hint}", "header")
        return None
    return told


def stated_scale(job: Job, given: float | None, others: Sequence[float] = ()) -> float | None:
    """Return car : sheet as given, else as the sheet states it (with a warning); None with an error otherwise.

    `others` are the scales of further views that are given: a dimension may belong to any of them.
    """
    log, dimensions = job.log, job.content.dimensions
    stated = grouped((scale, text) for text in job.content.texts for line in text.lines for scale in scales(line))
    found = {scale: texts[0] for scale, texts in stated.items()}
    if given is not None:
        if found and not any(abs(float(s) / given - 1.0) < 1e-6 for s in found):
            listed = "; ".join(f'"{t.whole}", handle {t.origin.handle}' for t in found.values())
            _clash(job, f"the scale {_ratio(given)} is given, but the sheet states another: {listed}")
        _check_dimensions(job, [d for d in dimensions if not any(_shows(d, o) for o in others)], given)
        return given
    if len(found) > 1:
        listed = "; ".join(f"{_ratio(s)} ({t.origin})" for s, t in found.items())
        log.error("scale-several", f"the sheet states several scales: {listed}; say which holds (scale)")
        return None
    for scale, text in found.items():
        _check_dimensions(job, dimensions, float(scale))
        said = f'the scale {_ratio(scale)} was read from the text "{text.whole}"'
        log.warn("scale-assumed", said, f"handle {text.origin.handle}")
        return float(scale)
    ratios = [d.shown / d.drawn for d in dimensions if abs(d.shown / d.drawn - 1.0) > 0.01]
    if ratios and max(ratios) / min(ratios) < 1.005:
        ratio = round(sorted(ratios)[len(ratios) // 2], 3)
        said = f"was taken from {len(ratios)} dimensions: what they show by what is drawn"
        log.warn("scale-assumed", f"the scale {_ratio(ratio)} {said}")
        return ratio
    log.error("scale-missing", 'the sheet states no scale that can be trusted: give it, scale = "1:5" in views.toml')
    return None


def _ratio(scale: Fraction | float) -> str:
    return f"1:{float(scale):g}"


def _clash(job: Job, text: str, where: str = "") -> None:
    if "scale" in job.declared.override:
        job.log.warn("scale-contradiction", f"{text} (overridden)", where)
    else:
        hint = 'correct one, or put override = ["scale"] in views.toml'
        job.log.error("scale-contradiction", f"{text}; {hint}", where)


def _shows(d: DrawnDimension, scale: float) -> bool:
    """Whether a dimension's figure is what is drawn, at a scale."""
    return abs(d.shown - d.drawn * scale) <= max(0.01 * d.shown, 0.51 if d.typed else 0.0)


def _check_dimensions(job: Job, dimensions: Sequence[DrawnDimension], scale: float) -> None:
    for d in (d for d in dimensions if not _shows(d, scale)):
        text = f"a dimension shows {d.shown:g} where {d.drawn:g} drawing units are drawn"
        where = f"handle {d.origin.handle}"
        if abs(d.shown / d.drawn - 1.0) < 1e-6:
            lost = f"at {_ratio(scale)} that is {d.drawn * scale:g}; the dimension has lost its style"
            job.log.warn("dimension-style", f"{text}: {lost}", where)
        else:
            _clash(job, f"{text}, which is not {_ratio(scale)}", where)
