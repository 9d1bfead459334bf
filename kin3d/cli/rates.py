"""``kin3d rates``: motion ratios, rates and frequencies of the inboard elements."""

from __future__ import annotations

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places

EPILOG = (
    "Examples:\n\n"
    "  kin3d rates models/dunlin/car.toml --axle front\n\n"
    "  kin3d rates models/dunlin/car.toml --travel=-30:30:5 --out rates.csv --plot rates.svg"
)


def rates(
    screen: Screen,
    car: opt.CarPath,
    axle: opt.OneAxle = "front",
    travel: opt.Travel = "-30:30:10",
    out: opt.Out = None,
    plot: opt.Plot = None,
) -> None:
    """Motion ratios and rates of every spring, bar and stop in heave, roll and on one wheel.

    Travel is that of both wheels. Rates hold the second term, force times the slope of the ratio. Ride frequencies
    follow where masses are given. The picture shows ratio, rate and rod force over travel, and the rocker.
    """
    check_places({"--out": out}, {"--plot": plot})
    read = kin3d.load(car)
    found = kin3d.rates(read, axle, opt.parse_values(travel, "--travel"))
    screen.show(found)
    screen.save(found, out)
    screen.plot(found, plot, "Curves")
    screen.findings(read.findings, found.findings)
    if not found.complete:
        screen.fail()


rates.__doc__ = f"{rates.__doc__}\n\n{EPILOG}"
