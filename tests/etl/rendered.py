"""Pictures and films of a pipe with a counter burnt in, as a camera makes them: rendered here, so that the truth is known."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import matplotlib as mpl
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter, ImageFont

FOLDER = Path(mpl.get_data_path()) / "fonts" / "ttf"
TYPEFACES = ("DejaVuSans.ttf", "DejaVuSansMono-Bold.ttf", "DejaVuSerif.ttf", "STIXGeneralBol.ttf", "cmtt10.ttf")
PLACES = ("top left", "top right", "bottom left", "bottom right", "bottom middle")
Noise = tuple[float, float, int]
NOISES: tuple[Noise, ...] = ((3, 0.0, 85), (6, 0.3, 75), (9, 0.5, 65), (12, 0.7, 55), (16, 0.8, 45))
"""Sigma of the noise (of 255), sigma of the blur in pixels, quality of the JPEG."""
SHOWN: dict[str, Callable[[float], str]] = {
    "ft": lambda feet: f"{feet:.1f} ft",
    "bare": lambda feet: f"{feet:06.1f}",
    "prime": lambda feet: f"{feet:.1f}'",
    "m": lambda feet: f"{feet * 0.3048:.2f} m",
    "FT": lambda feet: f"+{feet:05.1f}FT",
}
"""How displays show a reading; common practice, no source."""


@dataclass(frozen=True)
class Camera:
    """What stays the same in all pictures of one camera."""

    typeface: str
    place: str
    shown: str
    size: int
    style: int
    colour: tuple[int, int, int]


def pipe(rng: np.random.Generator, width: int, height: int) -> NDArray[np.float64]:
    """The inside of a pipe: dark in the middle, rings of joints, brown."""
    y, x = np.mgrid[:height, :width]
    far = np.hypot(x - width / 2 - rng.normal(0, width / 20), y - height / 2 - rng.normal(0, height / 20)) / (height / 2)
    light = np.clip(40 + 150 * np.minimum(far, 1.2) ** 1.5 - 60 * np.clip(far - 1.1, 0, None), 8, 230)
    light += 12 * np.sin(far * 18 + rng.uniform(0, 6)) * (far < 1.2)
    return light[..., None] * np.array([1.0, 0.9, 0.72]) * rng.uniform(0.8, 1.1)


def picture(
    rng: np.random.Generator, camera: Camera, feet: float, noise: Noise, size: tuple[int, int] = (640, 360)
) -> Image.Image:
    """One picture: the counter at its place, and on the other edge a date and time, which are no counter."""
    width, height = size
    image = Image.fromarray(np.clip(pipe(rng, width, height), 0, 255).astype(np.uint8))
    draw, font = ImageDraw.Draw(image), ImageFont.truetype(FOLDER / camera.typeface, camera.size)
    text, margin = SHOWN[camera.shown](feet), height // 20
    left, top, right, bottom = draw.textbbox((0, 0), text, font=font)
    above, beside = camera.place.split()
    x = {"left": margin, "right": width - margin - (right - left), "middle": (width - right + left) / 2}[beside]
    y = {"top": margin, "bottom": height - margin - (bottom - top)}[above]
    if camera.style == 0:
        draw.rectangle((x - 6, y - 5, x + right - left + 6, y + bottom - top + 5), fill=(0, 0, 0))
    draw.text((x - left, y - top), text, font=font, fill=camera.colour, stroke_width=1 + (camera.style == 1), stroke_fill=0)
    stamp = f"2026-0{rng.integers(1, 9)}-1{rng.integers(9)} {rng.integers(10, 20)}:{rng.integers(10, 59)}:{rng.integers(10, 59)}"
    other = margin if above == "bottom" else height - margin - camera.size
    draw.text((margin, other), stamp, font=font, fill=camera.colour, stroke_width=1, stroke_fill=0)
    grain, blur, _ = noise
    rough = np.asarray(image.filter(ImageFilter.GaussianBlur(blur)), dtype=float)
    rough = rough + rng.normal(0, grain, (height, width, 1)) + rng.normal(0, grain / 2, (height, width, 3))
    return Image.fromarray(np.clip(rough, 0, 255).astype(np.uint8))


def cameras(rng: np.random.Generator, count: int) -> list[Camera]:
    """Cameras through whose typefaces, places and ways to show a reading one gets by counting on."""
    colours = ((255, 255, 255), (255, 240, 60), (80, 255, 80))
    return [
        Camera(
            TYPEFACES[number % 5],
            PLACES[(number + number // 5) % 5],
            list(SHOWN)[(2 * number + number // 5) % 5],
            int(rng.integers(18, 27)),
            int(rng.integers(3)),
            colours[int(rng.integers(3))],
        )
        for number in range(count)
    ]


def film(path: Path, images: Iterable[Image.Image], *, each: int, rate: int) -> None:
    """Write a film (MPEG-4 part 2, which every FFmpeg can write), each picture for as many frames."""
    import av  # noqa: PLC0415 - as in the program: only where films are

    with av.open(str(path), "w") as container:
        stream = None
        for image in images:
            if stream is None:
                stream = container.add_stream("mpeg4", rate=rate)
                stream.width, stream.height, stream.pix_fmt, stream.bit_rate = *image.size, "yuv420p", 2_000_000
            frame = av.VideoFrame.from_image(image)
            for _ in range(each):
                frame.pts = None
                container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
