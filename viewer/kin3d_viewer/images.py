"""Arrays as picture and film files, each with the mark of the program in it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.writing.files import MARK, whole_file

Image = NDArray[np.uint8]
STILLS = (".png", ".jpg", ".jpeg")
FILMS = (".gif", ".mp4")
GIF_COLOURS = 255
LOOKED_AT = 6  # pictures of a film that its colours are chosen from
STEP = 8  # levels of a channel that count as one colour when they are chosen


def inches(size: tuple[int, int], dots_per_inch: float) -> tuple[float, float]:
    """Size of a figure that comes out `size` pixels large: a quarter of one is added, as canvases cut fractions off."""
    return (size[0] + 0.25) / dots_per_inch, (size[1] + 0.25) / dots_per_inch


def save_film(file: Path, images: Sequence[Image], rate: int, holds: Sequence[int] = ()) -> None:
    """Write pictures as a film.

    Parameters
    ----------
    images : sequence of ndarray, shape (height, width, 3)
    rate : int
        Pictures a second.
    holds : sequence of int, optional
        How many times as long each picture is shown.
    """
    (_film if file.suffix.lower() == ".mp4" else _gif)(file, images, rate, list(holds) or [1] * len(images))


def save_still(file: Path, image: Image) -> None:
    """Write one picture (.png, .jpg) with the mark of the program in it."""
    from PIL.PngImagePlugin import PngInfo

    about = PngInfo()
    about.add_text("Software", MARK)
    with whole_file(file) as beside:
        _image(image).save(beside, **({"pnginfo": about} if file.suffix.lower() == ".png" else {"comment": MARK}))


def _image(array: Image) -> Any:
    from PIL import Image as Pillow

    return Pillow.fromarray(np.ascontiguousarray(array))


def _gif(file: Path, images: Sequence[Image], rate: int, holds: list[int]) -> None:
    from PIL import Image as Pillow

    palette = _palette(images)
    frames = [_image(i).quantize(palette=palette, dither=Pillow.Dither.NONE) for i in images]
    with whole_file(file) as beside:
        frames[0].save(
            beside,
            save_all=True,
            append_images=frames[1:],
            duration=[round(1000 / rate) * n for n in holds],
            loop=0,
            optimize=True,
            comment=MARK,
        )


def _palette(images: Sequence[Image]) -> Any:
    """The colours of a film: a thin bar counts nearly as much as the paper, else all bars would have one colour."""
    from PIL import Image as Pillow

    some = [images[round(k)] for k in np.linspace(0, len(images) - 1, min(LOOKED_AT, len(images)))]
    pixels = np.concatenate([i.reshape(-1, 3) for i in some]).astype(np.int64)
    _, first, counts = np.unique(pixels // STEP @ [65536, 256, 1], return_index=True, return_counts=True)
    weighed = np.repeat(pixels[first].astype(np.uint8), np.ceil(counts**0.25).astype(int), axis=0)
    return Pillow.fromarray(weighed[None]).quantize(GIF_COLOURS, method=Pillow.Quantize.MEDIANCUT, kmeans=2)


def _film(file: Path, images: Sequence[Image], rate: int, holds: list[int]) -> None:
    try:
        import imageio_ffmpeg
    except ImportError:
        text = "a film needs imageio-ffmpeg: pip install 'kin3d[viewer]', or write a .gif, which needs nothing more"
        raise RequestError(Finding("no-ffmpeg", text, str(file))) from None
    height, width = (n - n % 2 for n in images[0].shape[:2])
    about = ["-metadata", f"comment={MARK}", "-fflags", "+bitexact", "-flags:v", "+bitexact"]
    with whole_file(file) as beside:
        writer = imageio_ffmpeg.write_frames(
            str(beside), (width, height), fps=rate, codec="libx264", quality=7, macro_block_size=2, output_params=about
        )
        writer.send(None)
        for image, count in zip(images, holds, strict=True):
            for _ in range(count):
                writer.send(np.ascontiguousarray(image[:height, :width]))
        writer.close()
