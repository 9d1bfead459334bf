"""Units, scale and size: what the drawing says, what the user says, and whether the two can both be true.

A corner or a whole car measures between `SMALLEST_MM` and `LARGEST_MM` across its points. That is wide enough for
every road or racing car and narrow enough to see a factor of 25.4 or 10 in most drawings.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from kin3d.reading.dxf.content import DrawnDimension, Text
from kin3d.reading.dxf.wording import scales
from kin3d.reading.text import FindingLog
from kin3d.units import UnitError, length_factor

SMALLEST_MM = 120.0
LARGEST_MM = 6500.0
# $INSUNITS: what the header's code means, and how many mm that is.
HEADER_UNITS = {
    1: ("inch", 25.4), 2: ("foot", 304.8), 4: ("mm", 1.0), 5: ("cm", 10.0), 6: ("m", 1000.0), 10: ("yard", 914.4),
    13: ("micrometre", 0.001), 14: ("dm", 100.0), 21: ("survey foot", 304.8006),
}  # fmt: skip


def plausible(size: float, mm_per_unit: float) -> bool:
    """Whether points that lie `size` drawing units apart can be a car's."""
    return SMALLEST_MM <= size * mm_per_unit <= LARGEST_MM


def unit_factor(
    units: str | None, code: int | None, size: float, override: Sequence[str], log: FindingLog, hint: str = ""
) -> float | None:
    """Return mm per drawing unit from what the user and the header say; None with an error where that fails.

    A contradiction is an error, unless the user overrides it, or the sizes themselves prove the header wrong and
    the user right (many programs write "inch" into every file): then it is a warning.
    `size` is the extent of the points in drawing units, already multiplied by the sheet's scale.
    """
    told = _told(units, log)
    if units is not None and told is None:
        return None
    name, header = HEADER_UNITS.get(code or 0, ("", None))
    if code and header is None:
        log.warn("unit-odd", f"the header's $INSUNITS is {code}, no unit of length that a car is drawn in", "header")
    if told is None and header is None:
        more = f" ({hint})" if hint else ""
        log.error(
            "unit-missing", f'the file does not say its unit (no $INSUNITS){more}: give it, units = "mm"', "header"
        )
        return None
    if told is None:
        return _checked_header(name, header, size, log)
    if header is None:
        if not code:
            log.warn("unit-not-stated", f'the file does not say its unit; taken as given: "{units}"', "header")
        return _checked(told, str(units), size, log)
    if abs(told / header - 1.0) < 1e-4:
        return _checked(told, str(units), size, log)
    return _contradiction(told, str(units), header, name, size, override, log)


def _told(units: str | None, log: FindingLog) -> float | None:
    if units is None:
        return None
    try:
        return length_factor(units)
    except UnitError as err:
        log.adopt(err.findings)
        return None


def _span(size: float, factor: float) -> str:
    return f"the points span {size * factor:.0f} mm; a car's span {SMALLEST_MM:.0f} to {LARGEST_MM:.0f} mm"


def _checked(factor: float, name: str, size: float, log: FindingLog) -> float | None:
    if size > 0.0 and not plausible(size, factor):
        log.error("size-odd", f'with the unit "{name}" {_span(size, factor)}: check unit and scale')
        return None
    return factor


def _checked_header(name: str, header: float | None, size: float, log: FindingLog) -> float | None:
    if header is not None and size > 0.0 and not plausible(size, header):
        log.error(
            "unit-odd",
            f"the header says {name}, but then {_span(size, header)}: say what the unit is (units)",
            "header",
        )
        return None
    return header


def _contradiction(
    told: float, units: str, header: float, name: str, size: float, override: Sequence[str], log: FindingLog
) -> float | None:
    clash = f'the header says {name}, but units = "{units}" is given'
    if "units" in override:
        log.warn("unit-contradiction", f"{clash}, with the header overridden", "header")
        return told
    if size > 0.0 and plausible(size, told) and not plausible(size, header):
        proof = f"with {name} the points would span {size * header:.0f} mm, with {units} {size * told:.0f} mm"
        log.warn("unit-contradiction", f"{clash}; {proof}, so the header is taken to be wrong", "header")
        return told
    log.error(
        "unit-contradiction",
        f'{clash}, and the sizes do not tell which is right; correct one, or put override = ["units"] in views.toml',
        "header",
    )
    return None


def stated_scale(
    texts: Iterable[Text],
    dimensions: Sequence[DrawnDimension],
    given: float | None,
    override: Sequence[str],
    log: FindingLog,
    others: Sequence[float] = (),
) -> float | None:
    """Return car : sheet as given, else as the sheet states it (with a warning); None with an error otherwise.

    `others` are the scales of further views that are given: a dimension may belong to any of them.
    """
    found: dict[Fraction, Text] = {}
    for text in texts:
        for line in text.lines:
            for scale in scales(line):
                found.setdefault(scale, text)
    if given is not None:
        _check_scale(given, found, override, log)
        rest = [d for d in dimensions if not any(_shows(d, other) for other in others)]
        _check_dimensions(rest, given, override, log)
        return given
    if len(found) > 1:
        listed = "; ".join(f"{_ratio(s)} ({t.origin})" for s, t in found.items())
        log.error("scale-several", f"the sheet states several scales: {listed}; say which holds (scale)")
        return None
    if not found:
        return _scale_of_dimensions(dimensions, log)
    scale, text = next(iter(found.items()))
    _check_dimensions(dimensions, float(scale), override, log)
    log.warn(
        "scale-assumed",
        f'the scale {_ratio(scale)} was read from the text "{text.whole}"',
        f"handle {text.origin.handle}",
    )
    return float(scale)


def _ratio(scale: Fraction | float) -> str:
    return f"1:{float(scale):g}"


def _check_scale(given: float, found: dict[Fraction, Text], override: Sequence[str], log: FindingLog) -> None:
    if not found or any(abs(float(s) / given - 1.0) < 1e-6 for s in found):
        return
    listed = "; ".join(f'"{t.whole}", handle {t.origin.handle}' for t in found.values())
    text = f"the scale {_ratio(given)} is given, but the sheet states another: {listed}"
    if "scale" in override:
        log.warn("scale-contradiction", f"{text} (overridden)")
    else:
        log.error("scale-contradiction", f'{text}; correct one, or put override = ["scale"] in views.toml')


def _scale_of_dimensions(dimensions: Sequence[DrawnDimension], log: FindingLog) -> float | None:
    ratios = [d.shown / d.drawn for d in dimensions if abs(d.shown / d.drawn - 1.0) > 0.01]
    if ratios and max(ratios) / min(ratios) < 1.005:
        ratio = round(sorted(ratios)[len(ratios) // 2], 3)
        log.warn(
            "scale-assumed",
            f"the scale {_ratio(ratio)} was taken from {len(ratios)} dimensions: what they show by what is drawn",
        )
        return ratio
    log.error("scale-missing", 'the sheet states no scale that can be trusted: give it, scale = "1:5" in views.toml')
    return None


def _shows(d: DrawnDimension, scale: float) -> bool:
    """Whether a dimension's figure is what is drawn, at a scale."""
    return abs(d.shown - d.drawn * scale) <= max(0.01 * d.shown, 0.51 if d.typed else 0.0)


def _check_dimensions(
    dimensions: Sequence[DrawnDimension], scale: float, override: Sequence[str], log: FindingLog
) -> None:
    for d in dimensions:
        if _shows(d, scale):
            continue
        where, text = (
            f"handle {d.origin.handle}",
            f"a dimension shows {d.shown:g} where {d.drawn:g} drawing units are drawn",
        )
        if abs(d.shown / d.drawn - 1.0) < 1e-6:
            log.warn(
                "dimension-style",
                f"{text}: at {_ratio(scale)} that is {d.drawn * scale:g}; the dimension has lost its style",
                where,
            )
        elif "scale" in override:
            log.warn("scale-contradiction", f"{text}, which is not {_ratio(scale)} (overridden)", where)
        else:
            log.error(
                "scale-contradiction",
                f'{text}, which is not {_ratio(scale)}; correct the scale, or put override = ["scale"] in views.toml',
                where,
            )
