from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.matcher.imaging.row_detection.camera_rows import drawn_look, photographed
from tests.matcher.imaging.row_detection.rendered_rows import easy


@pytest.mark.parametrize("contrast", [0.4, -0.4])
def test_contacts_lie_where_the_picture_says_and_stand_out_by_their_contrast(contrast: float) -> None:
    for seed in range(20):
        rng = np.random.default_rng([5, seed])
        made = easy(contrast=contrast, noise=0.0, unlike=0.0, jpeg=None, blur=0.4)
        look = replace(drawn_look(rng, made), shadow=None, shine=(0.0, 0.1, 0.0), tone=1.0, sharpened=0.0, grain=0.0)
        picture = photographed(rng, made, look)
        x0, y0, x1, y1 = picture.line
        places = (picture.first + 20.0 * np.arange(-0.5, 12.0, 0.5)) / np.hypot(x1 - x0, y1 - y0)
        x, y = np.round([x0 + places * (x1 - x0), y0 + places * (y1 - y0)]).astype(int)
        gaps, contacts = picture.image[y, x][::2] / 255, picture.image[y, x][1::2] / 255
        assert contacts - gaps[:-1] == pytest.approx(contrast, abs=0.02)
