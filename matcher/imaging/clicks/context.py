"""What all readings of one picture share, and how a length in pixels becomes a reading."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from matcher.columns.columns import Floats
from matcher.errors import ObservationError
from matcher.features import FEATURES, LENGTHS, Direction
from matcher.imaging.clicks.clicked_rows import Rows
from matcher.imaging.clicks.inputs import PLANES, KnownRectangle, Picture, ScaleSegment, checked_plane
from matcher.imaging.clicks.picture_results import PictureReading, PictureScale
from matcher.imaging.clicks.scale import PlaneScale
from matcher.observations import BudgetLine, Observation, Of
from matcher.uncertainty.dimension_validation import SMALLEST_REL
from matcher.uncertainty.gum import combine
from matcher.uncertainty.instruments import Instrument
from matcher.uncertainty.measuring_setup import SIDE_VIEW
from matcher.vocabulary import PIXEL, closest, remedy_for

FREE_STANDING = frozenset({"photo", "usb_microscope"})
"""Instruments with simple lenses that no stand holds perpendicular to the part."""

FORESHORTENING = (1.0 - math.cos(math.radians(5.0))) / math.sqrt(3.0)
"""Relative standard uncertainty of one direction's scale against that of the other, for a free-standing camera: an
unnoticed tilt of up to 5°, rectangular. Common practice, no source."""

LENS = 0.003
"""Relative standard uncertainty of a scale away from where it was clicked, with a simple lens. Common practice, no
source."""


@dataclass(frozen=True, kw_only=True)
class Context:
    """Picture, instrument, rows with their perspective, scale, and the scales of stated planes (empty: none stated)."""

    picture: Picture
    instrument: Instrument
    rows: Rows
    scale: PictureScale | None
    planes: Mapping[str, PlaneScale]

    @property
    def edge_u(self) -> tuple[float, float]:
        """Standard uncertainty of one click at an edge, px, and its degrees of freedom.

        The rows show how well the person clicks. An edge is never better known than the instrument shows it: two edges
        together have its ``feel_px``.
        """
        feel = (self.instrument.feel_px or 0.0) / math.sqrt(2.0)
        return self.rows.click_error if feel <= self.rows.click_u else (feel, math.inf)

    def skew_line(self, direction: Floats, length: float) -> tuple[BudgetLine, ...]:
        """Foreshortening relative to the direction of the scale, or else of the rows, or else of the picture's x
        axis. Without a scale it is part of the instrument's ``perspective_rel``."""
        if self.instrument.name not in FREE_STANDING or isinstance(self.picture.perspective, KnownRectangle):
            return ()
        reference = self._reference_direction()
        sine = abs(float(reference[0] * direction[1] - reference[1] * direction[0]))
        return (line("foreshortening by unseen tilt", "rectangular", FORESHORTENING * sine, length),)

    def _reference_direction(self) -> Floats:
        """Unit vector of the scale's segment, or else of the rows, or else of the picture's x axis."""
        segment = self.picture.scale
        if isinstance(segment, ScaleSegment):
            ends = np.array([segment.start, segment.end], dtype=np.float64)
            mapped = self.rows.rectification.now(ends)
            return np.asarray((mapped[1] - mapped[0]) / np.linalg.norm(mapped[1] - mapped[0]))
        return np.array([1.0, 0.0]) if self.rows.along is None else self.rows.along

    def reading(
        self,
        feature: str,
        value: float,
        lines: Sequence[BudgetLine],
        *,
        plane: str,
        of: Of,
        field: str,
        spans: int = 1,
    ) -> PictureReading:
        """A length in px as a reading: in the scale's plane by its own scale, or corrected to the reference plane.

        Raises
        ------
        ObservationError
            At ``field``, when the clicks are as uncertain as the length itself.
        """
        here = self.planes.get(plane, PlaneScale(rel=self.instrument.other_plane_rel))
        factor = here.factor if self.scale is None else 1.0
        kept = tuple(_scaled(one, factor) for one in lines if one.contribution > 0.0)
        u = combine([one.contribution for one in kept])
        if u >= value * factor:
            raise ObservationError(
                f"{feature} of {value / spans:.1f} px is uncertain by as much",
                field=field,
                value=value,
                remedy="click points farther apart, or take a larger picture",
            )
        observation = Observation(
            feature=feature,
            value=value * factor,
            unit=PIXEL,
            u=u,
            spans=spans,
            instrument=self.instrument.name,
            image=self.picture.name,
            plane=None if plane == SIDE_VIEW else plane,
            px_per_mm=None if self.scale is None else self.scale.px_per_mm / here.factor,
            scale_rel=self.scale_rel,
            plane_rel=here.rel if self.planes else None,
            of=of,
        )
        return PictureReading(observation=observation, value=value * factor, u=u, budget=kept)

    @property
    def scale_rel(self) -> float | None:
        """Relative standard uncertainty of the scale anywhere in the picture; None without a scale."""
        if self.scale is None:
            return None
        elsewhere = self.scale.source != "stated" and self.instrument.name in FREE_STANDING
        return max(math.hypot(self.scale.rel, LENS if elsewhere else 0.0), SMALLEST_REL)


def line(source: str, distribution: str, u: float, sensitivity: float, dof: float = math.inf) -> BudgetLine:
    """Budget line of one source, px."""
    return BudgetLine(
        source=source,
        distribution=distribution,
        u=u,
        sensitivity=sensitivity,
        contribution=abs(u * sensitivity),
        degrees_of_freedom=dof,
    )


def _scaled(one: BudgetLine, factor: float) -> BudgetLine:
    return line(one.source, one.distribution, one.u, one.sensitivity * factor, one.degrees_of_freedom)


def checked_length(feature: object, *, field: str, along: bool | None = None) -> str:
    """Name of a dimension that pictures show; ``along`` asks for one along the rows (True) or across them (False).

    Raises
    ------
    ObservationError
        At ``field``, when it is none.
    """
    lengths = [FEATURES[name] for name in LENGTHS]
    way = {None: None, True: Direction.ALONG, False: Direction.ACROSS}[along]
    fitting = [one.name for one in lengths if way in (None, one.direction)]
    if not isinstance(feature, str) or feature not in fitting:
        wanted = "a length" if way is None else f"a length {way} the rows"
        raise ObservationError(
            f"{str(feature)[:60]!r} is not {wanted}",
            field=field,
            value=feature,
            remedy=remedy_for(fitting, closest(str(feature)[:60], fitting)),
        )
    return feature


def plane_for(given: str | None, feature: str, *, field: str) -> str:
    """Plane as given, or the feature's usual one; raises ObservationError for a name that is none."""
    if given is not None:
        return checked_plane(given, field=field)
    usual = FEATURES[feature].plane
    return SIDE_VIEW if usual is None else PLANES[PLANES.index(str(usual))]
