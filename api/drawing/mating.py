"""Two halves mated: the upper turned over on the lower, boards apart by the stack height. mm, as in `section`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.drawing.geometry import Motion, Part, Point, Polygon, bounds_of
from api.drawing.measures import Measure
from api.drawing.outline import sideways
from api.drawing.section import section
from api.drawing.sizes import Length, Sizes, Source

SIDEWAYS_APART = 0.22
"""How far the second half stands out of a half that mates sideways, as a share of its depth. Common practice, no
source."""

CLEARANCE = 1.08
"""Stack height over the taller half where nothing is known. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class MatedShape:
    """A pair: ``lower`` stands on the lower board (a receptacle where there is one), ``upper`` hangs from the other."""

    lower: Sizes
    upper: Sizes
    stack: Length
    width: Length

    @property
    def parts(self) -> tuple[Part, ...]:
        """Both halves without their boards."""
        return (*section(self.lower), *self.hanging)

    @property
    def hanging(self) -> tuple[Part, ...]:
        """The upper half: turned over on the lower, or facing it where one of them mates sideways."""
        return tuple(part.moved(self._motion) for part in section(self.upper))

    @property
    def stacked(self) -> bool:
        """Whether the boards lie over each other, so that there is a stack height."""
        return not (sideways(self.lower) or sideways(self.upper))

    @property
    def _motion(self) -> Motion:
        if self.stacked:
            return Motion(y=-self.stack.value, quarter_turns=2)
        depth = self.lower.mm("body_width") / 2
        if sideways(self.upper):
            return Motion(x=depth + SIDEWAYS_APART * self.upper.mm("body_width"), mirrored=True)
        return Motion(
            x=depth + SIDEWAYS_APART * self.upper.mm("height"), y=-self.lower.mm("height") / 2, quarter_turns=3
        )

    def boards(self, thickness: float, beyond: float) -> list[Part]:
        """Both boards; their thickness is not known."""
        lower, upper = self.surfaces(beyond)
        return [_board(lower, Motion(y=thickness)), _board(upper, self._outward(thickness))]

    def _outward(self, thickness: float) -> Motion:
        """From the surface of the upper half's board into the board."""
        if self.stacked:
            return Motion(y=-thickness)
        return Motion(y=thickness) if sideways(self.upper) else Motion(x=thickness)

    def surfaces(self, beyond: float) -> list[tuple[Point, Point]]:
        """The boards' surfaces as lines."""
        if self.stacked:
            reach = self._reach(beyond)
            return [((-reach, y), (reach, y)) for y in (0.0, -self.stack.value)]
        own = max(self.lower.mm("body_width"), self.lower.mm("tail_span")) / 2
        lower = ((-beyond * own, 0.0), (0.9 * self.lower.mm("body_width") / 2, 0.0))
        across = max(self.upper.mm("body_width"), self.upper.mm("tail_span")) / 2
        ends = (
            (-0.9 * self.upper.mm("body_width") / 2 if not sideways(self.upper) else beyond * -across, 0.0),
            (0.9 * self.upper.mm("body_width") / 2 if sideways(self.upper) else beyond * across, 0.0),
        )
        return [lower, (self._motion.of(ends[0]), self._motion.of(ends[1]))]

    def _reach(self, beyond: float) -> float:
        box = bounds_of(self.parts)
        return beyond * max(box.right, -box.left)

    def measures(self, features: Sequence[str] | None) -> list[Measure]:
        """Dimensions of the pair; ``features`` None: those that are known."""
        reach, stack, half = self._reach(1.0), self.stack.value, self.width.value / 2
        both = (
            Measure(
                feature="stack_height",
                low=-stack,
                high=0.0,
                edge=(-reach, -0.8 * reach),
                side="left",
                length=self.stack,
            ),
            Measure(
                feature="mated_width",
                low=-half,
                high=half,
                edge=(-0.7 * stack, 0.0),
                side="below",
                length=self.width,
            ),
        )
        asked = both if self.stacked else ()
        return [m for m in asked if (m.length.known if features is None else m.feature in features)]

    @property
    def description(self) -> str:
        """The text for a screen reader."""
        if not self.stacked:
            return "They mate along the board of one of them; the distance between them is assumed."
        if not self.stack.known:
            return "The distance between the boards is drawn from usual proportions."
        return f"The boards are {self.stack.value:g} mm apart."


def mated(
    this: Sizes, other: Sizes, *, stack_height: Length | None = None, mated_width: Length | None = None
) -> MatedShape:
    """Both halves as a pair: a receptacle stands below, whichever half was named first."""
    lower, upper = (other, this) if _below(other) and not _below(this) else (this, other)
    if sideways(upper) and not sideways(lower):
        lower, upper = upper, lower
    tallest = max(lower.mm("height"), upper.mm("height"))
    widest = max(max(half.mm("body_width"), half.mm("tail_span")) for half in (lower, upper))
    return MatedShape(
        lower=lower,
        upper=upper,
        stack=stack_height or Length(value=CLEARANCE * tallest, source=Source.ASSUMED),
        width=mated_width or Length(value=widest, source=Source.ASSUMED),
    )


def _below(sizes: Sizes) -> bool:
    return sizes.kind == "receptacle"


def _board(surface: tuple[Point, Point], into: Motion) -> Part:
    start, end = surface
    return Part(role="board", shape=Polygon(points=(start, end, into.of(end), into.of(start))))
