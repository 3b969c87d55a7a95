"""One picture's clicks to observations."""

from __future__ import annotations

from matcher.picture.given import Picture
from matcher.picture.measured import PictureResult


def measure_picture(picture: Picture) -> PictureResult:
    """Readings of one picture with their uncertainty, ready for `matcher.measurement.reduce`.

    Raises
    ------
    ObservationError
        With ``field`` naming the point or number, e.g. ``rows[0].points[3]``.
    """
    raise ValueError(f"{picture.name} cannot be measured yet")
