"""Colours, dashes and layers by role.

The colours are those of M. Okabe and K. Ito (Color Universal Design, 2008), in an order of our own; no two parts are
told apart by colour alone: shapes, dashes and labels differ too.
"""

from __future__ import annotations

from dataclasses import dataclass

INK = "#1c262e"
PAPER = "#f7f8f6"
FLOOR = "#e4e7e3"
GHOST = "#8a949c"
BLACK, ORANGE, SKY, GREEN = "#000000", "#e69f00", "#56b4e9", "#009e73"
YELLOW, BLUE, VERMILION, PURPLE = "#f0e442", "#0072b2", "#d55e00", "#cc79a7"
CARS = {"A": BLUE, "B": VERMILION}  # of the car that is shown and the one beside it, wherever there are two
# bodies between chassis and upright, in the order of the layout file
BODY_COLOURS = (BLUE, GREEN, SKY, ORANGE, PURPLE)
CURVES = (BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY)


@dataclass(frozen=True, slots=True)
class Look:
    """How a role is drawn.

    Attributes
    ----------
    colour : str
    layer : str
        Toggle that shows or hides it (`LAYERS`).
    opacity : float
    width_px : float
        Of lines.
    dash : tuple of float
        Lengths of stroke and gap in mm; empty: a solid line.
    """

    colour: str
    layer: str = "linkage"
    opacity: float = 1.0
    width_px: float = 2.0
    dash: tuple[float, ...] = ()


LAYERS = {
    "linkage": "arms, links, upright, rod, rocker, spring",
    "wheels": "wheels and tyres",
    "joints": "joints and pickup points",
    "ground": "ground and contact points",
    "steering axis": "steering axis down to the ground",
    "screw axis": "instant screw axis of the upright, with the sense of its pitch",
    "front centres": "front-view instant centres, lines to the contact points, roll centre and its path",
    "side centres": "side-view instant centres with their lines",
    "trails": "where the instant centres go over the sweep",
    "rod force": "force in the rod for the static wheel load, as its width and its sign",
    "labels": "names of the parts",
    "point names": "names of the points",
    "meshes": "meshes from files",
}
SHOWN = ("linkage", "wheels", "joints", "ground", "steering axis", "labels", "meshes")



def _centres(mark: str, front: str, roll: str, side: str, dash: tuple[float, ...]) -> dict[str, Look]:
    """Looks of the lines and centres of one car."""
    return {
        f"{mark}front line": Look(front, "front centres", width_px=2.0, dash=dash),
        f"{mark}front centre": Look(front, "front centres"),
        f"{mark}roll centre": Look(roll, "front centres"),
        f"{mark}roll path": Look(roll, "front centres", width_px=3.0),
        f"{mark}front trail": Look(front, "trails", opacity=0.6, width_px=2.5),
        f"{mark}side line": Look(side, "side centres", width_px=2.0, dash=(12.0, 12.0)),
        f"{mark}side centre": Look(side, "side centres"),
        f"{mark}side trail": Look(side, "trails", opacity=0.6, width_px=2.5),
    }


ROLES: dict[str, Look] = {
    **{f"body {k}": Look(c) for k, c in enumerate(BODY_COLOURS)},
    **{f"body {k} web": Look(c, opacity=0.28) for k, c in enumerate(BODY_COLOURS)},
    "upright": Look("#5b6770"),
    "upright web": Look("#5b6770", opacity=0.22),
    "steering": Look(VERMILION),
    "rod": Look("#2b2b2b"),
    "rocker": Look(ORANGE),
    "rocker web": Look(ORANGE, opacity=0.75),
    "bar": Look(SKY),
    "spring": Look(PURPLE),
    "damper": Look("#6c757c"),
    "stub": Look("#9aa3aa", opacity=0.9),
    "rack": Look("#9aa3aa"),
    "wheel": Look("#3a4248", "wheels", opacity=0.22),
    "joint": Look("#2a3238", "joints"),
    "chassis joint": Look(BLACK, "joints"),
    "rack joint": Look(VERMILION, "joints"),
    "wheel centre": Look("#2a3238", "joints"),
    "ground": Look(FLOOR, "ground"),
    "contact": Look(BLACK, "ground"),
    "steering axis": Look(BLUE, "steering axis", width_px=2.5, dash=(45.0, 14.0, 8.0, 14.0)),
    "screw axis": Look(PURPLE, "screw axis", width_px=2.5, dash=(24.0, 12.0)),
    "screw sense": Look(PURPLE, "screw axis", width_px=3.0),
    **_centres("", GREEN, VERMILION, BLUE, (32.0, 12.0)),
    **_centres("A ", CARS["A"], CARS["A"], CARS["A"], (32.0, 12.0)),
    **_centres("B ", CARS["B"], CARS["B"], CARS["B"], (16.0, 8.0)),
    **_centres("now ", INK, INK, INK, ()),
    **{f"{c} linkage": Look(colour, opacity=0.35) for c, colour in CARS.items()},
    **{f"{c} wheel": Look(colour, "wheels", opacity=0.10) for c, colour in CARS.items()},
    "label": Look(INK, "labels"),
    "point name": Look(INK, "point names"),
    "mesh": Look("#b9c0c4", "meshes", opacity=0.45),
}


def layer_of(role: str) -> str:
    """The toggle that a role belongs to."""
    return ROLES[role].layer


SHEET_STYLE = """
QMainWindow, QDockWidget, QTabWidget, QScrollArea { background: #f0f2ef; color: #1c262e; }
QDockWidget::title { background: #dfe4df; padding: 4px 8px; }
QToolBar { background: #dfe4df; border: none; spacing: 2px; padding: 3px; }
QToolButton { padding: 4px 9px; }
QTableWidget { gridline-color: #dde1df; background: white; }
QDialog#help { background: #fffdf4; border: 1px solid #1c262e; }
QStatusBar { background: #dfe4df; }
"""
