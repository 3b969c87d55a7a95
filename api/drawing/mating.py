"""Two halves mated: the upper turned over on the lower, boards apart by the stack height. mm, as in `section`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.drawing.geometry import Box, Part, Point, bounds_of, rectangle
from api.drawing.measures import Measure
from api.drawing.outline import kind_of
from api.drawing.section import section
from api.drawing.sizes import Length, Sizes, Source

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
        """The upper half, turned over."""
        return tuple(part.moved(0.0, -self.stack.value, turned=True) for part in section(self.upper))

    def boards(self, thickness: float, beyond: float) -> list[Part]:
        """Both boards; how thick they are is not known."""
        reach = self._reach(beyond)
        top = -self.stack.value
        lower = Box(left=-reach, top=0.0, right=reach, bottom=thickness)
        upper = Box(left=-reach, top=top - thickness, right=reach, bottom=top)
        return [Part(role="board", shape=rectangle(box)) for box in (lower, upper)]

    def surfaces(self, beyond: float) -> list[tuple[Point, Point]]:
        """The boards' surfaces as lines."""
        reach = self._reach(beyond)
        return [((-reach, y), (reach, y)) for y in (0.0, -self.stack.value)]

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
        return [m for m in both if (m.length.known if features is None else m.feature in features)]

    @property
    def description(self) -> str:
        """What a screen reader says."""
        if not self.stack.known:
            return "How far the boards stand apart is drawn from usual proportions."
        return f"The boards stand {self.stack.value:g} mm apart."


def mated(
    this: Sizes, other: Sizes, *, stack_height: Length | None = None, mated_width: Length | None = None
) -> MatedShape:
    """Both halves as a pair: a receptacle stands below, whichever half was named first."""
    lower, upper = (other, this) if kind_of(other) == "receptacle" and kind_of(this) != "receptacle" else (this, other)
    widest = max(max(half.mm("body_width"), half.mm("tail_span")) for half in (lower, upper))
    return MatedShape(
        lower=lower,
        upper=upper,
        stack=stack_height or Length(value=assumed_stack(lower, upper), source=Source.ASSUMED),
        width=mated_width or Length(value=widest, source=Source.ASSUMED),
    )


def assumed_stack(lower: Sizes, upper: Sizes) -> float:
    """A stack height in which both halves have room, mm: a little over the taller one."""
    return CLEARANCE * max(lower.mm("height"), upper.mm("height"))
