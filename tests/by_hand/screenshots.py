"""A page as a picture, the whole of it however tall, by Chromium."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

from PIL import Image, ImageChops

TALLEST = 6000  # px


def shoot(browser: str, page: str, into: Path, width: int, more: tuple[str, ...] = (), tall: int = TALLEST) -> None:
    """Write a picture of a page (its text), cut below the last thing that is on it.

    Parameters
    ----------
    more : tuple of str
        Further words for the browser, e.g. ``--force-dark-mode``.
    """
    into.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "page.html"
        file.write_text(page, "utf-8")
        # a window is never narrower than 500 px: what is right of the width is cut off
        words = [browser, "--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", *more]
        words += ["--allow-file-access-from-files", "--hide-scrollbars", f"--user-data-dir={folder}/user"]
        words += [f"--window-size={max(500, width)},{tall}", f"--screenshot={into}", file.as_uri()]
        subprocess.run(words, check=True, timeout=180, capture_output=True)
    with Image.open(into) as taken:
        picture = taken.convert("RGB")
    empty = Image.new("RGB", picture.size, picture.getpixel((picture.width - 1, picture.height - 1)))
    box = ImageChops.difference(picture, empty).getbbox() or (0, 0, 1, 1)
    picture.crop((0, 0, width, min(picture.height, box[3] + 10))).save(into)
