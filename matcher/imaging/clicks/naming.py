"""Names and numbers beside the points: planes, bodies, sizes."""

from __future__ import annotations

from matcher.errors import ObservationError
from matcher.features import Plane
from matcher.observations import Of
from matcher.uncertainty.checked import is_number
from matcher.uncertainty.measuring_setup import SIDE_VIEW

PLANES = (*(str(plane) for plane in Plane), SIDE_VIEW)
"""Names of planes; side_view is that of heights."""


def checked_plane(plane: object, *, field: str) -> str:
    """The name of a plane; raises ObservationError at ``field`` for anything else."""
    if not isinstance(plane, str) or plane not in PLANES:
        remedy = f"known: {', '.join(PLANES)}"
        raise ObservationError(f"{plane!r} is no plane of a picture", field=field, value=plane, remedy=remedy)
    return str(plane)


def checked_body(of: object, *, field: str) -> Of:
    """Which body it is; raises ObservationError at ``field`` for a name that is none."""
    if not isinstance(of, str) or of not in list(Of):
        raise ObservationError(f"{of!r} is no body", field=field, value=of, remedy=f"known: {', '.join(Of)}")
    return Of(of)


def positive(value: object, *, field: str, what: str) -> float:
    """A finite number above 0; raises ObservationError at ``field`` for anything else."""
    if not is_number(value) or not value > 0.0:
        raise ObservationError(
            f"{what} is a finite number above 0", field=field, value=value, remedy=f"give {what} as it is"
        )
    return float(value)
