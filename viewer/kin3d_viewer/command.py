"""What ``kin3d view`` does: opens the window, or writes pictures, films and scenes without one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from kin3d.errors import Finding, Kin3dError, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, did_you_mean
from kin3d.writing.files import check_place, plan
from kin3d_viewer.charts import default_measures
from kin3d_viewer.films import animation
from kin3d_viewer.images import FILMS, STILLS
from kin3d_viewer.model import Drives
from kin3d_viewer.pictures import PictureOptions, screenshot
from kin3d_viewer.probe import need_window
from kin3d_viewer.session import Session
from kin3d_viewer.style import LAYERS, SHOWN
from kin3d_viewer.views import VIEWS

SCENES = (".glb", ".html")


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked for.

    Attributes
    ----------
    axle : str
    drives : Drives
    over : str
        What curves and animation run over.
    sweep : sequence of float
        Values of that drive; empty: the usual ones.
    screenshot, animation, scene : Path or None
    case : str
        Name of a load case whose forces are shown; empty: none, or the first one where the layer is asked for.
    becoming : str
        A measure: the animation shows the car becoming the other one, and the measure counting along.
    view, focus : str
        An empty view is the one that suits: from ahead for films in roll and of a car that becomes another, else
        perspective.
    show, hide : sequence of str
        Layers to add to and to take from the usual ones.
    curves : sequence of str or None
        Measures beside the picture; None: the usual ones for an animation, none for a still.
    size : (int, int)
    """

    axle: AxleName = "front"
    drives: Drives = field(default_factory=Drives)
    over: str = "travel_mm"
    sweep: Sequence[float] = ()
    screenshot: Path | None = None
    animation: Path | None = None
    scene: Path | None = None
    becoming: str = ""
    case: str = ""
    view: str = ""
    focus: str = "axle"
    show: Sequence[str] = ()
    hide: Sequence[str] = ()
    curves: Sequence[str] | None = None
    size: tuple[int, int] = (1280, 800)


def run(car: Car, other: Car | None, request: Request) -> list[str]:
    """Do what was asked; returns a sentence for each file written.

    Raises
    ------
    Kin3dError
        With everything that is wrong with the request, or what stands in the way of drawing.
    """
    check(request, other)
    request = _with_case(car, request)
    if request.becoming:
        assert other is not None
        return [_becoming(car, other, request)]
    session = Session.of(car, request.axle, Drives(), other, request.over)
    if len(request.sweep):
        for model in (session.editor.model, session.other):
            if model is not None:
                model.ranges[request.over] = tuple(request.sweep)
    session.load.name = request.case
    step = session.editor.drive(**request.drives.as_dict())
    if step.reason:
        raise RequestError(Finding("out-of-reach", f"the position asked for is out of reach: {step.reason}"))
    wanted = (request.screenshot, request.animation, request.scene)
    if any(wanted):
        return _files(session, request)
    need_window()
    from kin3d_viewer.window import open_window

    open_window(session, request.view or "perspective", _layers(request))
    return []


def _with_case(car: Car, request: Request) -> Request:
    """The request with the layer of forces where a load case is named; refuses one that the axle has not.

    Raises
    ------
    RequestError
    """
    if not request.case:
        return request
    there = {c.name: c for c in car.cases}
    if request.case not in there:
        known = did_you_mean(request.case, there) if there else "the car file has no [[cases]]"
        raise RequestError(Finding("case-unknown", f'--case "{request.case}": there is no such load case; {known}'))
    on = there[request.case].axle
    if on not in (None, request.axle):
        text = f'--case "{request.case}" is on the {on} axle: give --axle {on}'
        raise RequestError(Finding("case-elsewhere", text))
    return replace(request, show=(*request.show, "forces"), hide=(*request.hide, "labels"))


def _becoming(car: Car, other: Car, request: Request) -> str:
    """The film of a car that becomes the other one."""
    from kin3d_viewer.becoming import Becoming
    from kin3d_viewer.films import becoming_film

    assert request.animation is not None
    made = Becoming.of(car, other, request.axle, request.becoming)
    side = made.measure.name.startswith(("anti_", "side_", "caster", "jacking_side"))
    view = request.view or ("side" if side else "front")
    layers = _layers(request, ("side centres",) if view == "side" else ("front centres",), ("labels", "steering axis"))
    options = PictureOptions(view, request.focus, layers, (), request.size, near=view == "front")
    count = becoming_film(made, request.animation, options)
    return f"{count} frames written to {request.animation}"


def _layers(request: Request, shown: tuple[str, ...] = (), hidden: tuple[str, ...] = ()) -> tuple[str, ...]:
    """The layers asked for, with some that a kind of picture shows and hides of itself."""
    usual = [n for n in LAYERS if (n in SHOWN and n not in hidden) or n in shown]
    return tuple(n for n in LAYERS if (n in usual or n in request.show) and n not in request.hide)


def _files(session: Session, request: Request) -> list[str]:
    done = []
    options = picture_options(session, request)
    if request.screenshot is not None:
        screenshot(session, request.screenshot, options)
        done.append(f"Picture written to {request.screenshot}")
    if request.scene is not None:
        from kin3d_viewer.export import write_scene

        done.append(write_scene(session, request.scene, options))
    if request.animation is not None:
        count = animation(session, request.animation, _film_options(session, request, options), request.sweep)
        done.append(f"{count} frames written to {request.animation}")
    return done


def _film_options(session: Session, request: Request, options: PictureOptions) -> PictureOptions:
    """Options of a film: with curves; two cars in roll are seen from ahead, with their lines and trails."""
    if request.curves is None:
        options = replace(options, curves=default_measures(list(session.view.now.values)))
    if request.over != "roll_deg":
        return options
    options = replace(options, view=request.view or "front")
    if session.other is None:
        return replace(options, layers=_layers(request, ("front centres", "chassis")))
    layers = _layers(request, ("front centres", "trails", "chassis"), ("labels", "steering axis"))
    return replace(options, layers=layers, near=options.view == "front")


def picture_options(session: Session, request: Request) -> PictureOptions:
    """Options of a picture; measures are checked against those that there are."""
    there = list(session.view.now.values)
    wrong = [n for n in request.curves or () if n not in there]
    if wrong:
        text = f"--curves: no measure {', '.join(wrong)} here; kin3d measures lists them"
        raise RequestError(Finding("measure-unknown", text))
    view = request.view or "perspective"
    return PictureOptions(view, request.focus, _layers(request), tuple(request.curves or ()), request.size)


def _not_becoming(request: Request, other: Car | None) -> list[Finding]:
    """What a film of a car that becomes another one lacks."""
    out = []
    if other is None:
        out.append(Finding("other-missing", "--becoming: give another car that the first one is to become"))
    if request.animation is None:
        out.append(Finding("film-missing", "--becoming makes a film: give --animation NAME.gif or NAME.mp4"))
    if request.drives != Drives() or len(request.sweep) or request.screenshot or request.scene:
        text = "--becoming shows the design position, in a film alone: leave out --travel, --rack, --roll, --range,"
        out.append(Finding("design-position", f"{text} --screenshot and --scene"))
    return out


def check(request: Request, other: Car | None = None) -> None:
    """Refuse what cannot be done, all at once."""
    findings: list[Finding] = []
    for file, known, option in (
        (request.screenshot, STILLS, "--screenshot"),
        (request.animation, FILMS, "--animation"),
        (request.scene, SCENES, "--scene"),
    ):
        if file is not None:
            try:
                check_place(file, known, option)
                plan(file)
            except Kin3dError as error:
                findings += error.findings
    for name in (*request.show, *request.hide):
        if name not in LAYERS:
            findings.append(Finding("layer", f'--show/--hide "{name}": there are {", ".join(LAYERS)}'))
    if request.becoming:
        findings += _not_becoming(request, other)
    if request.view and request.view not in VIEWS:
        findings.append(Finding("view", f'--view "{request.view}": there are {", ".join(VIEWS)}'))
    if not all(64 <= n <= 8192 for n in request.size):
        findings.append(Finding("size", f"--size: from 64 to 8192 px a side are expected, found {request.size}"))
    if findings:
        raise RequestError(findings)
