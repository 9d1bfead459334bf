"""From marks and texts to ties: attributes, labels, keys, layers, places, labels in paper space."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from kin3d.reading.dxf.content import Content, DrawnMark, Text, grouped, tree_of
from kin3d.reading.dxf.matching import Matcher, PointLabel, Tie, UntiedLabel, extent_of, farthest_apart, symbols
from kin3d.reading.dxf.tables import coordinate_rows, read_legend, tell_unknown
from kin3d.reading.dxf.wording import Names, PointName, coordinates, fold, is_number, scales, view_kind
from kin3d.reading.text import FindingLog

SYMBOL_HEIGHTS = 4.0  # largest radius of a point's circle, in heights of the labels
BALLOON = 1.4  # half the diagonal of the words that a balloon holds, in its radii; the words' width is an estimate
PICKED = 400  # places that a message lists; a draft has them all
ON_RIM = 1.6  # radii; a line that ends so near to a symbol's centre ends at the symbol
MOST_ENDS = 20_000  # line ends that may be places
MOST_RIVALS = 3000  # texts that name no point and may have pointers of their own
_FREE = re.compile(r"^[^\W\d_][\w .\-/()']{0,38}$")
_BREAK = re.compile(r"(?:(?<!\s)\s+)?[/,;+&]\s*")
# what may follow a name: figures
_AFTER = re.compile(r"(?:(?<!\s)\s+)?[(:=]|(?<!\s)\s+[-+]?\d+[.,]|(?<!\s)\s+[xX]\s?[-+]?\d")


def find_labels(content: Content, names: Names) -> list[PointLabel]:
    """Return all texts that name points; where none is known, those that may be labels of their own kind."""
    legend = {id(t) for t in read_legend(content.texts, names)}
    table = coordinate_rows(content.texts)
    rows = {id(r.text) for r in table} if len(table) >= 3 else set()
    known, free = [], []
    for text in content.texts:
        if id(text) in legend or (id(text) in rows and coordinates(" ".join(text.lines[1:])) is None):
            continue
        line = text.lines[0]
        if found := names_in(text, names):
            known.append(PointLabel(text, found))
        elif not (names.strict or view_kind(line) or scales(line) or is_number(line)) and _FREE.match(line):
            free.append(PointLabel(text, (PointName(fold(line), known=False),), True))
    return known + ([f for f in free if names.resembles(f.text.lines[0])] if known else free)


def names_in(text: Text, names: Names) -> tuple[PointName, ...]:
    """Return the points that a text names; two where two points share one place ("rod_inner / spring_inner")."""
    whole = names.find(text.whole)
    if whole is not None:
        return (whole,)
    found: dict[str, PointName] = {}
    for line in text.lines:
        ways = ([names.find(w) for w in words] for words in ([line], _BREAK.split(line), _AFTER.split(line, 1)[:1]))
        found |= {name.point: name for name in next((way for way in ways if all(way)), ()) if name is not None}
    return tuple(found.values())


def tie_all(content: Content, names: Names, log: FindingLog) -> tuple[list[Tie], list[UntiedLabel], list[DrawnMark]]:
    """Tie all names of one layout to its marks; also return labels without a mark, and symbols that nothing names."""
    labels, ends = find_labels(content, names), _ends(content)
    found = symbols(_of_size(content.marks, labels))
    ties = _by_place([*found, *ends], names, log)
    said = {tuple(t.mark.xyz): t.name.point for t in ties}
    for mark in (m for m in content.marks if m.kind == "block"):
        ties += [Tie(n, mark, "attribute") for n in {n.point: n for n in map(names.find, mark.names) if n}.values()]
    ties += _by_reference(content.texts, found, names)
    _check_hung([t for t in ties if t.mark.hung is not None], log)
    tied = {id(t.text) for t in ties if t.text is not None}
    left = [x for x in labels if id(x.text) not in tied]
    known = {id(x.text) for x in left}
    rivals = [t for t in content.texts if id(t) not in known][:MOST_RIVALS]
    clear = _apart(ends, found)  # ends of lines, where nothing has a symbol
    new, untied = Matcher([*found, *clear], content.strokes, left, rivals).match()
    # what the name table says of a place beats every text
    ties = [t for t in [*ties, *new] if t.how == "place" or said.get(tuple(t.mark.xyz), t.name.point) == t.name.point]
    spare = _apart(found, [t.mark for t in ties])
    layers = [(m, names.find(m.origin.layer)) for m in spare if m.origin.layer != "0"]
    ties += [Tie(name, mark, "layer") for mark, name in layers if name is not None]
    spare = _apart(spare, [t.mark for t in ties])
    odd = [(t.text.lines[0], str(t.mark.origin)) for t in ties if not t.name.known and t.text is not None]
    layout = "of a known layout"
    tell_unknown(odd, names, log, f'the label "{{}}" is no point {layout}', f"labels are no points {layout}")
    return [t for t in ties if t.name.known] or ties, untied, spare


def _of_size(marks: list[DrawnMark], labels: Sequence[PointLabel]) -> list[DrawnMark]:
    """Leave out circles that are too large beside the labels to be symbols, and balloons around a label."""
    if not labels:
        return marks
    largest = SYMBOL_HEIGHTS * float(np.median([label.text.height for label in labels]))
    tree = tree_of(label.text.middle for label in labels)
    boxes = np.array([label.text.box for label in labels])
    sizes = np.hypot(boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]) / 2.0

    def is_balloon(mark: DrawnMark) -> bool:
        held = tree.query_ball_point(mark.xyz, 0.4 * mark.reach)
        return bool(held) and bool((sizes[held] < BALLOON * mark.reach).any())

    return [m for m in marks if m.kind != "circle" or (m.reach <= largest and not is_balloon(m))] or marks


def _apart(marks: list[DrawnMark], others: Sequence[DrawnMark]) -> list[DrawnMark]:
    """Return the marks that do not stand where one of the others stands."""
    if not marks or not others:
        return marks
    far, _ = tree_of(m.xyz for m in others).query(np.array([m.xyz for m in marks]))
    return [m for m, d in zip(marks, far, strict=True) if d > 1e-6]


def _ends(content: Content) -> list[DrawnMark]:
    """Return line ends as marks, each place once."""
    ends = [m for m in content.marks if m.kind == "end"]
    xyz = np.array([m.xyz for m in ends]).reshape(-1, 3)
    same = grouped(zip(map(tuple, np.round(xyz / (1e-7 * extent_of(xyz))).tolist()), ends, strict=True))
    return [marks[0] for marks in same.values()] if len(same) <= MOST_ENDS else []


def _by_reference(texts: Sequence[Text], marks: Sequence[DrawnMark], names: Names) -> list[Tie]:
    """Tie the attributes of a block reference to the one symbol that stands in it, whatever else does."""
    inside = grouped((m.origin.handle, m) for m in marks if m.origin.blocks)
    ties = []
    for text in texts:
        held = inside.get(text.origin.handle, []) if text.origin.entity == "ATTRIB" else []
        if len(held) == 1:
            ties += [Tie(name, held[0], "attribute", text) for name in names_in(text, names)]
    return ties


def _check_hung(ties: Sequence[Tie], log: FindingLog) -> None:
    """Warn of attributes that stand elsewhere on their block than nearly all others: one of the two was moved."""
    if len(ties) < 3:
        return
    hung = np.array([t.mark.hung for t in ties])
    usual = np.median(hung, axis=0)
    odd = np.abs(hung - usual).max(axis=1) > 1e-3 * (1.0 + float(np.abs(usual).max()))
    if odd.mean() > 0.34:
        return
    for k in (int(i) for i in np.flatnonzero(odd)):
        text = f"the attribute of {ties[k].name.point} stands elsewhere on its block than those of the others"
        log.warn("attribute-moved", f"{text}: block or attribute was moved; check the point", str(ties[k].mark.origin))


def _by_place(marks: Sequence[DrawnMark], names: Names, log: FindingLog) -> list[Tie]:
    """Tie the places that the name table gives, to symbols first, else to line ends."""
    ties: list[Tie] = []
    if not names.places:
        return ties
    xyz = np.array([m.xyz for m in marks]).reshape(-1, 3)
    limit = max(6e-3, 1e-5 * extent_of(xyz))
    trees = {n: tree_of(xyz[:, :n]) for n in (2, 3)}
    for place, point in names.places:
        near = [marks[k] for k in sorted(trees[len(place)].query_ball_point(place, limit, p=np.inf))]
        best = [m for m in near if m.kind != "end"] or near
        text = f'the name table puts {point} at "@{", ".join(f"{c:g}" for c in place)}", where'
        if not best:
            log.error("place-empty", f"{text} there is no mark and no line ends")
        elif farthest_apart(np.array([m.xyz for m in best])) > 2.0 * limit:
            log.error("place-several", f"{text} {len(best)} marks lie behind each other; give z too")
        else:
            ties.append(Tie(PointName(point), best[0], "place"))
    return ties


def places_of(content: Content) -> list[DrawnMark]:
    """Return the places that could be points, by layer and place: symbols, and ends of lines that are at none."""
    found, ends = symbols(content.marks), _ends(content)
    if found and ends:
        far, near = tree_of(m.xyz for m in found).query(np.array([m.xyz for m in ends]))
        ends = [m for m, f, k in zip(ends, far, near, strict=True) if f > ON_RIM * found[k].reach + 1e-6]
    return sorted([*found, *ends], key=lambda m: (m.kind == "end", m.origin.layer, *np.round(m.xyz, 6)))


def at_place(mark: DrawnMark, flat: bool) -> str:
    """Return a place as the name table has it: ``@x,y``, or ``@x,y,z`` in a drawing in space."""
    return "@" + ",".join(f"{c:.4f}".rstrip("0").rstrip(".") for c in mark.xyz[: 2 if flat else 3])


def pick_list(content: Content) -> str:
    """Return a numbered list of the places that could be points, for drawings without names."""
    marks = places_of(content)
    if not marks:
        return ""
    flat = bool(np.ptp([m.xyz[2] for m in marks]) == 0.0)
    lines = [
        f'#{number} "{at_place(m, flat)}" {m.origin.entity} on layer {m.origin.layer}, handle {m.origin.handle}'
        for number, m in enumerate(marks[:PICKED], 1)
    ]
    more = f"; and {len(marks) - PICKED} more" if len(marks) > PICKED else ""
    return "; ".join(lines) + more + "; --draft FOLDER writes all of them as a table with a picture"


# --- labels in paper space -------------------------------------------------------------------------------------------


def tie_through(
    viewports: Sequence[Any], paper: Content, model: Content, names: Names
) -> tuple[list[Tie], list[UntiedLabel]]:
    """Tie labels of a paper sheet to marks of model space, looked at through the sheet's viewports."""
    ties: list[Tie] = []
    untied: list[UntiedLabel] = []
    labels = [label for label in find_labels(paper, names) if not label.free]
    for viewport in viewports:
        behind = [(p, m) for m in symbols(model.marks) if (p := _projected(viewport, m)) is not None]
        centre, half = np.array(viewport.dxf.center)[:2], 0.6 * np.array([viewport.dxf.width, viewport.dxf.height])
        inside = [label for label in labels if (np.abs(label.text.anchor[:2] - centre) <= half).all()]
        shown = [p for p, _ in behind]
        if not shown or not inside:
            continue
        new, rest = Matcher(shown, paper.strokes, inside).match()
        tree, limit = tree_of(m.xyz for m in shown), 1e-6 * extent_of([m.xyz for m in shown])
        for tie in new:
            choices = tuple(behind[k][1] for k in sorted(tree.query_ball_point(tie.mark.xyz, limit)))
            if len(choices) > 1 and tie.text is not None:
                untied.append(UntiedLabel(PointLabel(tie.text, (tie.name,)), choices))
            else:
                ties.append(replace(tie, mark=choices[0]))
        untied += rest
    return ties, untied


def _projected(viewport: Any, mark: DrawnMark) -> DrawnMark | None:
    """Return a mark as a viewport shows it on the paper; None where it lies outside the viewport's frame."""
    from ezdxf.math import OCS, Vec3

    dxf = viewport.dxf
    looks = OCS(dxf.get("view_direction_vector", (0, 0, 1)))
    seen = looks.from_wcs(Vec3(mark.xyz) - Vec3(dxf.get("view_target_point", (0, 0, 0))))
    seen = seen.rotate_deg(float(dxf.get("view_twist_angle", 0.0))) - Vec3(dxf.get("view_center_point", (0, 0)))
    scale = float(dxf.height) / (float(dxf.get("view_height", 0.0)) or np.inf)
    if scale == 0.0 or abs(scale * seen.x) > dxf.width / 2.0 or abs(scale * seen.y) > dxf.height / 2.0:
        return None
    place = np.array([dxf.center[0] + scale * seen.x, dxf.center[1] + scale * seen.y, 0.0])
    return DrawnMark(place, mark.reach * scale, mark.kind, mark.origin)
