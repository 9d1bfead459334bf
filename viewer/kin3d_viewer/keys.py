"""All keys and mouse moves of the window, once: what they are, what they do; help and shortcuts are made from it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Key:
    """A key: as Qt names it (empty for the mouse), what it calls, what it does."""

    keys: str
    action: str
    about: str
    group: str


KEYS = (
    Key("1", "view_front", "front view", "Look"),
    Key("2", "view_side", "side view", "Look"),
    Key("3", "view_plan", "plan view", "Look"),
    Key("4", "view_perspective", "perspective", "Look"),
    Key("F", "focus_next", "fill the picture with axle, left or right corner", "Look"),
    Key("Space", "play", "play the sweep, and stop", "Move"),
    Key(",", "drive_back", "one step back along the sweep", "Move"),
    Key(".", "drive_on", "one step on along the sweep", "Move"),
    Key("Home", "design_position", "sliders to the design position", "Move"),
    Key("X", "lock_x", "drag along x only, and off again", "Change points"),
    Key("Y", "lock_y", "drag along y only, and off again", "Change points"),
    Key("Z", "lock_z", "drag along z only, and off again", "Change points"),
    Key("G", "arm", "take the arm's other joints on the chassis along", "Change points"),
    Key("M", "measure", "measure between two points, and off again", "Change points"),
    Key("Esc", "let_go", "let go of the points", "Change points"),
    Key("Ctrl+Z", "undo", "take back", "Change points"),
    Key("Ctrl+Y", "redo", "do again", "Change points"),
    Key("Ctrl+R", "reset", "back to the file's points", "Change points"),
    Key("T", "tune", "move the points to where all is had that the targets want", "Change points"),
    Key("Ctrl+O", "open", "open a car", "Files"),
    Key("", "recent", "Open a recent car", "Files"),
    Key("Ctrl+B", "open_beside", "open another car beside", "Files"),
    Key("Ctrl+W", "swap", "swap the two cars", "Files"),
    Key("", "close_beside", "take the other car away", "Files"),
    Key("Ctrl+T", "open_targets", "open targets, drawn as bands in the curves", "Files"),
    Key("Ctrl+S", "save", "save as a new car file", "Files"),
    Key("Ctrl+E", "save_curves", "save the curves as a table or a picture", "Files"),
    Key("Ctrl+P", "screenshot", "save a picture of the window's scene", "Files"),
    Key("L", "layer_labels", "names of the parts", "Show"),
    Key("N", "layer_point names", "names of the points", "Show"),
    Key("W", "layer_wheels", "wheels", "Show"),
    Key("A", "layer_screw axis", "screw axis", "Show"),
    Key("C", "layer_front centres", "front-view centres, roll centre", "Show"),
    Key("S", "layer_side centres", "side-view centres", "Show"),
    Key("K", "next_case", "forces of a load case, then of the next one", "Show"),
    Key("F1", "help", "these keys", "Help"),
)
# not shortcuts: handled where the mouse is
BY_HAND = (
    ("Change points", "Arrow keys", "nudge the picked point in the picture plane; PageUp, PageDown: across it"),
    ("Change points", "Shift, Ctrl + arrows", "ten steps, a tenth of a step"),
    ("Change points", "Click", "pick a point: its name, place and bodies"),
    ("Change points", "Ctrl + click", "pick one more, or one less: they move together"),
    ("Change points", "Drag a point", "move it (front, side, plan view, or along a locked axis)"),
    ("Files", "Drop a car file", "open it; with Shift: beside; of two the second beside"),
    ("Look", "Drag beside the points", "turn; Shift: shift; wheel or right button: nearer, farther"),
)
GROUPS = ("Files", "Look", "Move", "Change points", "Show", "Help")
RECENT = "recent"  # a menu of its own, filled when it is opened
TOOLS = {
    "view_front": "Front",
    "view_side": "Side",
    "view_plan": "Plan",
    "view_perspective": "Perspective",
    "swap": "Swap cars",
    "measure": "Measure",
    "tune": "To targets",
    "undo": "Undo",
    "redo": "Redo",
    "reset": "Reset",
    "save": "Save as",
    "screenshot": "Picture",
    "help": "Keys",
}


def help_rows() -> list[tuple[str, list[tuple[str, str]]]]:
    """Groups with their keys and what they do, for the overlay."""
    out = []
    for group in GROUPS:
        rows = [(k.keys, k.about) for k in KEYS if k.group == group and k.keys]
        rows += [(keys, about) for g, keys, about in BY_HAND if g == group]
        out.append((group, rows))
    return out
