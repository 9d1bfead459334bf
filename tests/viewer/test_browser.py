"""The report in a real browser: it opens without the network and without a complaint, fits a phone, and keys reach all.

Runs where a Chromium is installed, and says so where none is.
"""

from __future__ import annotations

import json
import re
import subprocess

import pytest

import kin3d
from tests import everything
from tests.laws.cars import MODELS

WIDTHS = (1440, 390)
# a window is never narrower than 500 px, a frame is
FRAME = """<!DOCTYPE html><body><iframe src="report.html" width="{width}" height="900" style="border:0"></iframe>
<script>addEventListener("message", e => document.body.setAttribute("data-found", e.data));</script></body>"""
# what the page finds out about itself, told to the page around it
ASKING = """
<script>
addEventListener("load", () => setTimeout(() => {
  const out = { wide: document.documentElement.scrollWidth, window: innerWidth, unreached: [], ordered: [], still: 0 };
  const inner = [...document.querySelectorAll("iframe")].map(f => f.contentDocument);
  for (const page of [document, ...inner]) for (const el of page.querySelectorAll("*")) {
    const style = page.defaultView.getComputedStyle(el);
    const scrolls = /auto|scroll/.test(style.overflowX) && el.scrollWidth > el.clientWidth + 1;
    const acts = scrolls || style.cursor === "pointer" || style.cursor === "grab";
    const held = el.closest("a, button, input, select, summary, label, canvas, option");
    if (acts && el.tabIndex < 0 && !(held && (held.tabIndex >= 0 || held.querySelector("input"))))
      out.unreached.push(`${el.tagName} ${el.className}`);
    if (el.tabIndex > 0) out.ordered.push(el.tagName);
  }
  out.reached = inner.flatMap(p => ["canvas", "#play", "#at", "#view", "#names"].map(s => p.querySelector(s).tabIndex));
  out.place = inner.map(p => p.querySelector("#place").textContent);
  const slider = inner[0].querySelector("#at");
  slider.value = slider.max; slider.dispatchEvent(new Event("input"));
  out.after = inner[0].querySelector("#place").textContent;
  const shown = s => [...document.querySelectorAll(s)].some(e => e.getClientRects().length);
  out.wideShown = shown(".only-wide"); out.narrowShown = shown(".only-narrow");
  parent.postMessage(JSON.stringify(out), "*");
}, 400));
</script></body>"""


@pytest.fixture(scope="module")
def browser():
    return everything.browser()


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """The page of two cars with its moving scene, made to ask itself."""
    cars = [kin3d.load(MODELS / n / "car.toml") for n in ("dunlin", "plover")]
    text = kin3d.report(cars, "front", [-20.0, 0.0, 20.0], samples=0).html()
    assert "<iframe" in text
    file = tmp_path_factory.mktemp("page") / "report.html"
    for width in WIDTHS:
        file.with_name(f"{width}.html").write_text(FRAME.format(width=width), "utf-8")
    file.write_text(text.replace(' loading="lazy"', "").replace("</body></html>", f"{ASKING}</html>"), "utf-8")
    return file


def opened(browser, page, folder, width):
    """What the page found out about itself, and every line that the browser's console had for it."""
    command = [
        browser, "--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--enable-unsafe-swiftshader",
        f"--user-data-dir={folder}",
        "--host-resolver-rules=MAP * ~NOTFOUND", "--enable-logging=stderr", "--window-size=1600,1000",
        "--virtual-time-budget=5000", "--dump-dom", page.with_name(f"{width}.html").as_uri(),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=True)
    found = re.search(r'data-found="([^"]*)"', done.stdout)
    assert found, done.stdout[-500:]
    # a graphics driver made of software tells how fast it is; that is no complaint of the page's
    said = [line for line in done.stderr.splitlines() if "CONSOLE" in line and "GL Driver Message" not in line]
    return json.loads(found[1].replace("&quot;", '"')), said


@pytest.mark.slow
@pytest.mark.parametrize("width", WIDTHS)
def test_the_page_opens_without_the_network_and_keys_reach_everything(browser, page, tmp_path, width):
    found, said = opened(browser, page, tmp_path, width)
    assert said == []
    assert found["window"] == width
    assert found["wide"] <= width  # nothing to be scrolled sideways but the long tables, each by itself
    assert found["unreached"] == []
    assert found["ordered"] == []
    assert found["reached"]
    assert min(found["reached"]) >= 0
    assert (found["wideShown"], found["narrowShown"]) == (width > 640, width <= 640)
    assert found["place"] == ["front axle, travel 0.0 mm"]
    assert found["after"] != found["place"][0]  # the header follows the slider
