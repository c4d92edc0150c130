"""The invented town's pictures in a browser: Chromium's own PNG decoder is the reference."""

import base64

import numpy as np

from sample_gis import data_folder
from tests.sample_gis.pixels import pixels_in

READ = """async data => {
    const bitmap = await createImageBitmap(await (await fetch("data:image/png;base64," + data)).blob());
    const canvas = new OffscreenCanvas(bitmap.width, bitmap.height).getContext("2d");
    canvas.drawImage(bitmap, 0, 0);
    return [bitmap.width, bitmap.height, Array.from(canvas.getImageData(0, 0, bitmap.width, bitmap.height).data)];
}"""


def test_browser_shows_the_pixels_that_were_drawn(chromium):
    """Each installed picture is decoded by Chromium to the very pixels that the standard gives."""
    page = chromium.new_page()
    pictures = sorted(data_folder().glob("logs/*/pictures/*.png"))
    assert len(pictures) == 12
    for picture in pictures[::4]:
        wide, high, shown = page.evaluate(READ, base64.b64encode(picture.read_bytes()).decode("ascii"))
        assert (np.array(shown).reshape(high, wide, 4)[:, :, :3] == pixels_in(picture)).all()
    page.close()
