"""The fields of the feature table's entries, and the types of these fields."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass, field
from enum import StrEnum

FINE_PITCH = 0.5
"""Pitch up to which widths are held more closely, mm."""

CONTACT_ROW = "contact_row"
"""Pitch × contacts per row: stands for the row's length where a proportion is stated."""


class Kind(StrEnum):
    """How a feature is observed."""

    DIMENSION = "dimension"
    COUNT = "count"
    CATEGORY = "category"
    LABELS = "labels"
    TEXT = "text"
    FIT = "fit"


class Subject(StrEnum):
    """What a feature belongs to: one half, or the mated pair alone."""

    HALF = "half"
    PAIR = "pair"


class Plane(StrEnum):
    """Depth at which a dimension is seen in an image; a scale holds only within one plane."""

    LANDS = "lands"
    MATING_FACE = "mating_face"
    HOUSING_TOP = "housing_top"


class Direction(StrEnum):
    """The way a dimension lies: along the rows, across them, or upwards from the board."""

    ALONG = "along"
    ACROSS = "across"
    UPWARDS = "upwards"


class Remains(StrEnum):
    """What remains of a half."""

    WHOLE = "whole"
    BARE_BOARD = "bare_board"
    """Only the board: lands and holes."""
    TORN_OFF = "torn_off"
    """The half was torn off its board: some of the metal that held it may be lost."""
    ONE_END_MISSING = "one_end_missing"
    """A piece with one of its two ends."""


COPIED = 0.5
"""`Feature.copied` where a row does not state it. Common practice, no source."""


@dataclass(frozen=True)
class Slip:
    """A common mistake with a dimension: another feature is measured in its place.

    ``instead`` names the feature really measured. ``share`` is the part of the named slips it takes. ``words`` say
    what may have happened, where more is to be said than the name of the other feature.
    """

    instead: str
    share: float
    words: str = ""


@dataclass(frozen=True)
class Beyond:
    """What a dimension is where an entry does not state it: longer than another one (``low`` below 0: shorter).

    Any excess from ``low`` to ``high``, mm, is as probable as any other.
    """

    other: str
    low: float
    high: float


@dataclass(frozen=True)
class Process:
    """Process tolerance of a dimension where the drawing states no tolerance, mm.

    ``least`` is the half-width of small parts, ``above`` that of larger ones by the size above which it holds,
    ascending. ``coarse`` takes its place where the pitch is not known to be at most `FINE_PITCH`.

    ``broad_share`` is for what an entry only recommends: without a tolerance, parts are found about ``shift`` above it,
    and that share of parts keeps to it less closely, with the half-width ``broad`` around the same centre.
    """

    least: float
    above: tuple[tuple[float, float], ...] = ()
    coarse: float | None = None
    shift: float = 0.0
    broad: float = 0.0
    broad_share: float = 0.0

    @property
    def recommended(self) -> bool:
        """Whether entries only recommend the dimension: it is of the board, and designers deviate from it."""
        return self.broad_share > 0.0

    def half_width(self, size: float, pitch: float | None) -> float:
        """Half-width for a size on a half of a pitch (None: not known)."""
        if self.coarse is not None and (pitch is None or pitch > FINE_PITCH):
            return self.coarse
        return next((half_width for limit, half_width in reversed(self.above) if size > limit), self.least)


@dataclass(frozen=True)
class Proportion:
    """A dimension over another one (``to``, or `CONTACT_ROW`) is from ``low`` to ``high``, mostly about ``usual``."""

    to: str
    low: float
    usual: float
    high: float


@dataclass(frozen=True)
class SameAs:
    """A dimension that entries state only where it differs from another one, ``of``.

    An entry that does not state it means the other dimension. Where the category ``or_twice_where`` may have the value
    ``value``, it is the other dimension or twice that, as probably.
    """

    of: str
    or_twice_where: str
    value: str


@dataclass(frozen=True)
class Moved:
    """Values that a category had in older entries and observations, and that another one, ``to``, has now.

    ``names`` gives each old name and its name there. Where one of them is among several possible values, all of them
    are read as values of ``to``, which has the others by their names: together they answered one question.
    """

    to: str
    names: Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class Feature:
    """One entry of the feature table. Most fields have defaults; those of lengths hold for lengths only.

    Attributes
    ----------
    name, label, synonyms: identifier, bench words, and what the trade also calls it.
    kind, subject: how it is observed and whether it belongs to a half or to the mated pair.
    meaning: the exact definition, shown wherever the feature is asked for.
    how: how to take it at the bench.
    instruments: names of built-in instruments that can take it, best first; empty for what is seen by eye.
    low, high: plausible range; mm for dimensions, whole numbers for counts.
    gross_share: probability that a reading is grossly wrong (dimensions) or the count is wrong beyond
        the miscount law (0 for contact_count, which has its own law).
    slips: named slips of a dimension.
    direction, plane: how a dimension lies, and in which depth of an image.
    along_rows: it grows with positions (of a dimension, the *allowance* over the contact span is what stays). A half
        with one end missing shows only a part of it.
    on_bare_board: the board shows it without the half.
    lost_when_torn: a half torn off its board may have lost it, or a part of it.
    repeats: it stands between neighbours at equal steps (contacts of a row, or rows), so that several gaps can be
        measured at once.
    inside_or_depth: taken by inside jaws or a depth rod.
    seated: measured from the board, a half on its board shows it with the gap under the half, which entries leave out.
    same_within: entries whose dimensions round to equal multiples of this, mm, are one geometry.
    process: how closely parts keep the dimension.
    encloses_contacts: the row of contacts lies within it.
    needs: the count that must not be 0 for a half to have the dimension.
    not_of_kind: the kind of half that does not have the dimension.
    beyond: what it is beside other dimensions where it is not stated; the first of them that is stated counts.
    proportion: what it usually is beside another dimension of the half.
    same_as: the dimension that it is equal to where an entry does not state it.
    values: names and bench words of a category's values, in order.
    moved: values that it once had and that another category has now.
    right_share: probability that the eye names the value that a category looks like.
    looks_like: for a value of a category, what it may be taken for by a careful eye, and how often. Where "none" stands
        for a label, it is how often the label cannot be seen.
    strongest: the largest ratio by which a value may favour one half over another, for what varies from lot to lot.
    own_field: an entry has it as a field of its own, and not among its counts or categories.
    essential: one of the dimensions that tell halves apart at first sight; an entry can hardly do without it.
    construction: halves of one series that differ in it are of different construction.
    varies: halves that are the same otherwise may differ in it.
    of_profile: halves of one series that differ in it have different profiles, around which *absent* expects other
        halves; pitch, rows and end allowance make profiles in any case.
    copied: probability that a half which the catalogue lacks, but which copies a listed one, copies this feature too;
        the catalogue refines it.
    """

    name: str
    label: str
    kind: Kind
    meaning: str
    how: str
    subject: Subject = Subject.HALF
    synonyms: tuple[str, ...] = ()
    instruments: tuple[str, ...] = ()
    low: float = 0.0
    high: float = 0.0
    gross_share: float = 0.0
    slips: tuple[Slip, ...] = ()
    direction: Direction = Direction.ACROSS
    plane: Plane | None = None
    along_rows: bool = False
    on_bare_board: bool = False
    lost_when_torn: bool = False
    repeats: bool = False
    inside_or_depth: bool = False
    seated: bool = False
    same_within: float = 0.02
    process: Process = Process(0.10)
    encloses_contacts: bool = False
    needs: str | None = None
    not_of_kind: str | None = None
    beyond: tuple[Beyond, ...] = ()
    proportion: Proportion | None = None
    same_as: SameAs | None = None
    values: Mapping[str, str] = field(default_factory=dict)
    moved: Moved | None = None
    right_share: float = 0.0
    looks_like: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    strongest: float | None = None
    own_field: bool = False
    essential: bool = False
    construction: bool = False
    varies: bool = False
    of_profile: bool = False
    copied: float = COPIED

    @property
    def is_pitch(self) -> bool:
        """Whether it is the distance of neighbours along a row.

        There a tolerance does not add up over several gaps, and contacts are counted for gaps.
        """
        return self.repeats and self.direction is Direction.ALONG

    @property
    def inside(self) -> bool:
        """Whether it lies between walls, so that what closes on a part from outside cannot take it."""
        return self.inside_or_depth and self.direction is not Direction.UPWARDS

    def left_on(self, remains: Remains) -> bool:
        """Whether it can still be observed in full."""
        seen = {
            Remains.WHOLE: True,
            Remains.BARE_BOARD: self.on_bare_board,
            Remains.TORN_OFF: not self.lost_when_torn,
            Remains.ONE_END_MISSING: not self.along_rows,
        }
        return seen[remains]

    def taken_for(self, values: Set[str]) -> frozenset[str]:
        """What a half with one of these values may be taken for by a careful eye, beside the values themselves."""
        return frozenset(other for value in values for other in self.looks_like.get(value, {}))
