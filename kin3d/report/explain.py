"""The why-figures of a report, wide and narrow, and of one car alone its constructions."""

from __future__ import annotations

from kin3d.report.svg import drawing_svg, framed
from kin3d.studies.compared import CarPair
from kin3d.studies.draw import Construction
from kin3d.studies.report_data import AxlePart
from kin3d.studies.wheel_construction import ViewName
from kin3d.studies.why import why_views
from kin3d.studies.why_parts import WhyView
from kin3d.writing.html import prose, tag

WIDTHS = {"wide": 190.0, "narrow": 96.0}  # mm: type of 8 pt is then read at the size of the page's small type
NAMES = ("front", "side")


def explained(part: AxlePart, pair: CarPair) -> dict[str, str]:
    """Markup of both views of a pair by name, each with its finding, wide and narrow; empty without a radius."""
    cars = part.comparison.cars
    shown = [part.cars[cars.index(c)].construction for c in (pair.a, pair.b)]
    found = {kind: why_views(pair, shown, width) for kind, width in WIDTHS.items()}
    if not found["wide"]:
        return {}
    out = {}
    for k, name in enumerate(NAMES):
        both = {kind: views[k] for kind, views in found.items()}
        key = f"{part.axle}-why-{name}-{pair.b.label}"
        pictures = "".join(_picture(v, f"{key}-{kind}", kind) for kind, v in both.items())
        view = both["wide"]
        caption = "".join(tag("p", prose(c), class_="note") for c in view.caption)
        said = tag("p", prose(view.seen), class_="note")
        out[name] = tag("h3", prose(view.title), class_="finding") + said + _moves(view) + pictures + caption
    return out


def _moves(view: WhyView) -> str:
    """What the colours of the arrows mean, where there are any."""
    if not view.moves:
        return ""
    said = "".join(
        f'<li><span class="swatch {k}"></span> {w}</li>'
        for k, w in (("raises", "move raises it"), ("lowers", "move lowers it"))
    )
    return tag("ul", said, class_="key")


def _picture(view: WhyView, key: str, kind: str) -> str:
    return framed(drawing_svg(view.drawing, view.frame, key, view.described), class_=f"why only-{kind}")


def constructions(part: AxlePart) -> str:
    """Front and side view of one car, to scale; a sentence where there is no loaded radius."""
    one = part.cars[0].construction
    if one.ground is None:
        return tag("p", "There is no loaded radius, so no construction: loaded_radius_mm is not given.", class_="note")
    return _construction(part, "front") + _construction(part, "side")


def _construction(part: AxlePart, view: ViewName) -> str:
    one = part.cars[0].construction
    shown = Construction(view, (one,))
    drawing, frame = shown.drawing()
    described = f"{'Front' if view == 'front' else 'Side'} view of {one.title}, {one.axle} axle, to scale"
    svg = drawing_svg(drawing, frame, f"{part.axle}-{view}", described)
    caption = "; ".join(shown.said()) + "."
    return framed(svg, prose(f"{described}. {caption}"), "drawing")
