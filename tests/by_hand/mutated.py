"""Damaged inputs in numbers: car files, tables, layouts, views, name tables, command lines; a sentence for each.

``python -m tests.by_hand.mutated [KIND ...] [--count N] [--seed S]`` prints counts by outcome; a traceback, a case
over 20 s of computing or over 4 GB is told with its seed and makes exit code 1. A small run of it is in the suite.
"""

from __future__ import annotations

import argparse
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any, get_args, get_type_hints

from typer.models import OptionInfo

import kin3d
from kin3d.errors import Finding, Kin3dError
from kin3d.linkage.layout_file import builtin_names
from kin3d.reading.layouts import find_layout
from kin3d.reading.text import FindingLog
from tests.cli.test_outputs import ending

ROOT = Path(__file__).parents[2]
MODELS = ROOT / "models"
LAYOUTS = ROOT / "kin3d" / "linkage" / "layouts"
SECONDS, MEMORY = 20.0, 4 * 1024**3
PIECES = (
    b"1e300", b"-1e300", b"1e-320", b"nan", b"inf", b"-inf", b"0", b"-1", b"", b"=1+1", b'"', b"'", b"[", b"]", b"[[",
    b"{", b"}", b"\x00", b"\xff\xfe", b"\xc3", b"\r", b"\n\n", b",", b";", b"\t", b"..", b"/dev/zero", b"/etc/passwd",
    b"front.csv", b"9" * 400, b"true", b"1979-05-27", b"0x7f", b"1_000", b"\xe2\x88\x92", b"\xef\xbb\xbf", b"#", b"=",
    "ä€😀".encode(), b"\x1b[31m", b"upper_outer", b"chassis", b"upright", b"rod_on", b"<script>", b"%s", b"\\",
)  # fmt: skip


class TooLongError(Exception):
    """A case took more than its time."""


def mutated(raw: bytes, dice: random.Random) -> bytes:
    """Bytes with one to four faults: pieces put in, cut out, doubled, exchanged, lines moved."""
    for _ in range(dice.randint(1, 4)):
        a = dice.randrange(len(raw) + 1)
        b = min(len(raw), a + dice.choice((1, 1, 2, 5, 20, 200)))
        lines = raw.split(b"\n")
        k, n = dice.randrange(len(lines)), dice.randrange(len(lines))
        match dice.randrange(8):
            case 0:
                raw = raw[:a] + dice.choice(PIECES) + raw[a:]
            case 1:
                raw = raw[:a] + dice.choice(PIECES) + raw[b:]
            case 2:
                raw = raw[:a] + raw[b:]
            case 3:
                raw = raw[:b] + raw[a:]
            case 4:
                lines[k], lines[n] = lines[n], lines[k]
                raw = b"\n".join(lines)
            case 5:
                raw = b"\n".join(lines[:k] + lines[k + 1 :])
            case 6:
                words = lines[k].replace(b",", b" ").split()
                old = dice.choice(words) if words else b""
                lines[k] = lines[k].replace(old, dice.choice(PIECES), 1)
                raw = b"\n".join(lines)
            case _:
                raw = raw[:a] if dice.random() < 0.2 else raw[:a] + bytes([dice.randrange(256)]) + raw[a + 1 :]
    return raw


def car_case(folder: Path, dice: random.Random) -> None:
    """A demo car with one of its files damaged, loaded and solved in its design position."""
    name = dice.choice(("dunlin", "plover", "siskin"))
    place = folder / name
    if not place.exists():
        shutil.copytree(MODELS / name, place)
    file = dice.choice(sorted(p for p in place.iterdir() if p.suffix in (".toml", ".csv")))
    whole = (MODELS / name / file.name).read_bytes()
    try:
        file.write_bytes(mutated(whole, dice))
        car = kin3d.load(place / "car.toml")
        for axle in car.axles():
            kin3d.sweep(car, axle.name, travel=[0.0, 5.0], measures=["camber_deg", "toe_deg"])
        if dice.random() < 0.2:
            kin3d.check(car)
    finally:
        file.write_bytes(whole)


def layout_case(folder: Path, dice: random.Random) -> None:
    """A built-in layout, damaged, read as one's own."""
    name = dice.choice(builtin_names()).replace(" ", "_")
    (folder / "own.toml").write_bytes(mutated((LAYOUTS / f"{name}.toml").read_bytes(), dice))
    log = FindingLog("car.toml")
    if find_layout("own.toml", folder, "[front] layout", log) is None and not log.failed:
        raise AssertionError("no layout and no finding")
    kin3d.errors.raise_errors(log.findings, kin3d.errors.ReadingError)


VIEWS = b"""units = "mm"
scale = "1:5"
[views.front]
window = [0, 0, 400, 300]
origin = [200, 50]
[views.side]
window = [0, 300, 400, 600]
origin = [200, 350]
axes = "x right, z up"
"""
NAMES = b"label,point,ends\nLF,lower_front,\nLR,lower_rear,\nUBJ,upper_outer,\n12,tie_inner,\n"


def drawing_case(folder: Path, dice: random.Random) -> None:
    """A demo drawing with a damaged views file or name table."""
    file = folder / dice.choice(("views.toml", "names.csv"))
    file.write_bytes(mutated(VIEWS if file.suffix == ".toml" else NAMES, dice))
    given: dict[str, Any] = {"views" if file.suffix == ".toml" else "names": file}
    kin3d.import_drawing(MODELS / "plover" / "front.dxf", **given)


RANGES = ("0", "-20:20:20", "5,5", "0,nan", "1e300", "-60:60:60", "1:2:3:4", "0:1e9:1", "20:-20:-10", "0:1:0", "x", "")
NUMBERS = ("0", "1", "-1", "0.5", "3", "40", "1e300", "-1e300", "nan", "inf", "1e-320", "x", "", "100", "2,5")
WHOLE = ("0", "1", "-1", "2", "100", "150", "1e3", "99999999999", "x", "")
MEASURES = ("camber_deg", "toe_deg,caster_deg", "all", "camber", "motion_ratio,", "roll_centre_height_mm", "", "é")
TEXTS = ("", "x", "é", "[red]", "front", "steering", "mm", "-", "0.8", "right=dunlin", "lower arm", "1280x800", "%s")
RANGED = ("travel", "rack", "heave", "roll", "pitch", "at", "values")


def _value_of(name: str, hint: Any, command: str, folder: Path, dice: random.Random) -> str | None:
    """A value for an option, mostly of its kind; None for a switch."""
    kinds = get_args(hint) or (hint,)
    if bool in kinds:
        return None
    if dice.random() < 0.08:
        return dice.choice((*TEXTS, *NUMBERS))
    if Path in kinds:
        return str(folder / f"o{dice.choice((ending(command, f'--{name}'), '.csv', '.svg', '.json', ''))}")
    chosen = [v for k in kinds for v in get_args(k) if isinstance(v, str)] or [v for v in kinds if isinstance(v, str)]
    if chosen:
        return dice.choice(chosen)
    pool = RANGES if name in RANGED else MEASURES if name == "measures" else TEXTS
    return dice.choice(WHOLE if int in kinds else NUMBERS if float in kinds else pool)


def command_case(folder: Path, dice: random.Random) -> None:
    """A command with one to four of its options, their values of the right kind and odd, run in this process."""
    from kin3d.cli import COMMANDS
    from tests.cli.run import run

    command, module, function = dice.choice([c for c in COMMANDS if c[0] not in ("view", "mark", "guide")])
    cars = [str(MODELS / dice.choice(("dunlin", "plover", "siskin")) / "car.toml") for _ in range(2)]
    given = {"measures": [], "compare": cars, "report": cars[: dice.choice((1, 2))], "new": [str(folder / "own")]}
    given |= {"import": [str(MODELS / "plover" / "front.dxf")]}
    given |= {"locate": [str(MODELS / "dunlin" / "photos" / "front.photos.toml")]}
    words = [command, *given.get(command, cars[:1])]
    quick = {"tolerance": ["--travel=0"], "compare": ["--travel=0"], "report": ["--travel=0", "--no-scene"]}
    words += [*quick.get(command, []), *(["--samples", "100"] if command in quick else [])]
    words += {"swap": ["--to", dice.choice(("pull", "push"))], "settle": ["--lateral", "0.3"]}.get(command, [])
    words += ["--out", str(folder / f"o{ending(command, '--out')}")] if command in ("draw", "export", "report") else []
    hints = get_type_hints(getattr(import_module(f"kin3d.cli.{module}"), function), include_extras=True)
    own = {n: h for n, h in hints.items() if hasattr(h, "__metadata__") and OptionInfo in map(type, h.__metadata__)}
    for name in dice.sample(sorted(own), min(len(own), dice.randint(1, 4))):
        hint, option = get_args(own[name])[0], next(m for m in own[name].__metadata__ if isinstance(m, OptionInfo))
        flag = next(iter(option.param_decls or ()), f"--{name.replace('_', '-')}")
        value = _value_of(name, hint, command, folder, dice)
        words += [flag] if value is None else [f"{flag}={value}"]
    code, _, err = run(*words)
    if code not in (0, 1, 2) or "Traceback" in err or "Warning:" in err:
        raise AssertionError(f"{words}: code {code}, {err[-300:]}")
    if code == 2:
        raise Kin3dError([Finding("usage" if "Usage:" in err else "command refused", "")])


KINDS: dict[str, tuple[Callable[[Path, random.Random], None], int]] = {
    "cars": (car_case, 10_000),
    "layouts": (layout_case, 1_000),
    "drawings": (drawing_case, 1_000),
    "commands": (command_case, 500),
}


def _alarm(*_: object) -> None:
    raise TooLongError


def run_kind(kind: str, count: int, seed: int, seconds: float = 1e9) -> tuple[Counter[str], list[str]]:
    """Outcomes by class, and a line for each case that went wrong; no further case after so many seconds."""
    end = time.monotonic() + seconds
    case, _ = KINDS[kind]
    counts: Counter[str] = Counter()
    bad: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        for k in range(count):
            if time.monotonic() > end:
                break
            dice = random.Random(f"{kind} {seed} {k}")
            signal.setitimer(signal.ITIMER_PROF, SECONDS)
            try:
                case(Path(name), dice)
                outcome = "accepted"
            except Kin3dError as error:
                outcome = error.findings[0].code if error.findings else "refused"
            except TooLongError:
                outcome = "TOO LONG"
            except Exception as error:  # noqa: BLE001 - that is what is looked for
                outcome = f"TRACEBACK {type(error).__name__}"
                print(f"{kind} {seed} {k}: {str(error)[:600]}", flush=True)
            signal.setitimer(signal.ITIMER_PROF, 0.0)
            counts[outcome] += 1
            if outcome[:4].isupper():
                bad.append(f"{kind} {seed} {k}: {outcome}")
    return counts, bad


def main() -> int:
    """Run the kinds that are asked for; 1 when a case went wrong."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("kinds", nargs="*", choices=[*KINDS, []], default=list(KINDS))
    asked.add_argument("--count", type=int)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=1e9, help="begin no further case after so long, a kind")
    given = asked.parse_args()
    signal.signal(signal.SIGPROF, _alarm)
    kin3d.import_drawing(MODELS / "plover" / "front.dxf")  # what is stopped while it imports stays half imported
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    warnings.simplefilter("error", RuntimeWarning)  # a warning on the screen is a fault as well
    failed = False
    for kind in given.kinds:
        start = time.monotonic()
        counts, bad = run_kind(kind, given.count or KINDS[kind][1], given.seed, given.seconds)
        print(f"{kind}: {sum(counts.values())} cases in {time.monotonic() - start:.0f} s", dict(counts.most_common()))
        print(*bad, sep="\n")
        failed |= bool(bad)
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
