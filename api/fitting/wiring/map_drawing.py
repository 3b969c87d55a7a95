"""A contact map as a drawing: each view a plan of the contacts as they are seen, with what each carries.

The plan is not to scale, so that every name can be read: contacts stand one step apart in their order. What a contact
carries is told by the form of its mark as well as by its name, and the lines carry their own colours, so that the
drawing can be read without the pages' styles.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from textwrap import wrap

from api.drawing.geometry import Box
from api.drawing.svg import document, element, number, words
from api.schemas.fitting.contact_map import MapView, Role, SeenContact

STEP, BAR, ROW_GAP = 22.0, 30.0, 30.0
"""Distance of contacts along a row, length of a contact, and clear distance of two rows, px."""

LETTER, TITLE = 12.5, 14.0
"""Heights of letters, px."""

LETTER_WIDTH, LEADING = 0.6, 1.3
"""Mean width of a letter, and distance of two lines, as shares of a letter's height: common faces."""

LINE_LETTERS = 34
"""Most letters in a line of a title, so that it can be read whole on a phone."""

MARGIN, ARROW, END_GAP = 12.0, 9.0, 26.0
"""Clear paper, size of the arrowhead at contact 1, and room for a contact at an end, px."""

CELL = 74.0
"""Width of a contact with its name beside it, where there are more than two rows, px."""

ROLE_WORDS: dict[Role | None, str] = {
    "supply": "supply: filled",
    "ground": "ground: barred",
    "signal": "signal: open",
    "open": "not connected: crossed",
    None: "not known: dotted",
}
"""What the marks mean."""


@dataclass(frozen=True, kw_only=True)
class _Plan:
    """One view laid out: its markup, width and height."""

    markup: str
    width: float
    height: float


def views_svg(views: Sequence[MapView], name: str) -> str:
    """The views one below the other in one picture; ``name`` keeps ids apart on a page."""
    plans, top, drawn = [_plan(view) for view in views], MARGIN, []
    for plan in plans:
        drawn.append(element("g", {"transform": f"translate({number(MARGIN)} {number(top)})"}, plan.markup))
        top += plan.height + 2 * MARGIN
    key = wrap("; ".join(ROLE_WORDS.values()) + "; arrowhead: contact 1", LINE_LETTERS)
    drawn += _lines("figure", key, MARGIN, top, LETTER)
    wide = max(_wide(key, LETTER), *(plan.width for plan in plans)) + 2 * MARGIN
    box = Box(left=0.0, top=0.0, right=wide, bottom=top + _high(key, LETTER) + MARGIN)
    title = "; ".join(view.title for view in views)
    return document(box, 1.0, title, "; ".join(map(_described, views)), drawn, css="contact-map", prefix=f"{name}-")


def _lines(css: str, lines: Sequence[str], x: float, top: float, size: float) -> list[str]:
    """Lines of text, one below the other."""
    return [
        words(css, x, top + size * (1 + LEADING * place), size, line, anchor="start")
        for place, line in enumerate(lines)
    ]


def _wide(lines: Sequence[str], size: float) -> float:
    return max(map(len, lines)) * size * LETTER_WIDTH


def _high(lines: Sequence[str], size: float) -> float:
    return size * (1 + LEADING * (len(lines) - 1))


def _described(view: MapView) -> str:
    """A view in words, for screen readers."""
    rows = (", ".join(_label(cell) if cell else "left out" for cell in row) for row in view.rows)
    return f"{view.title}; rows from above, each from the left: {' / '.join(rows)}"


def _label(cell: SeenContact) -> str:
    return f"{cell.contact} {cell.net}".strip()


def _plan(view: MapView) -> _Plan:
    longest = max((len(_label(cell)) for row in view.rows for cell in row if cell), default=0)
    names = longest * LETTER * LETTER_WIDTH
    beside = len(view.rows) > 2
    step = max(CELL, names + STEP) if beside else STEP
    above = ARROW + 6.0 + (0.0 if beside else names)
    ends = END_GAP * 2 if view.ends else 0.0
    end_names = max((len(_label(each)) for each in view.ends), default=0) * LETTER * LETTER_WIDTH
    first_x = ends + end_names + STEP / 2
    pitch_y = BAR + 8.0 if beside else BAR + ROW_GAP
    title = wrap(view.title, LINE_LETTERS)
    begin = _high(title, TITLE) + 10.0 + above
    longest_row = max(len(row) for row in view.rows)
    parts = _lines("plan-title", title, 0.0, 0.0, TITLE)
    for index, row in enumerate(view.rows):
        aside = (longest_row - len(row)) / 2
        lower = index == 1 and not beside
        for place, cell in enumerate(row):
            x, y = first_x + step * (place + aside), begin + pitch_y * index
            parts.extend(_contact(cell, x, y, beside=beside, below=lower or (beside and index == len(view.rows) - 1)))
    rows_high = pitch_y * (len(view.rows) - 1) + BAR
    across = first_x + step * (longest_row - 1) + STEP / 2
    parts.extend(_ends(view.ends, (first_x, across), (begin, begin + rows_high)))
    height = begin + rows_high + above
    width = max(_wide(title, TITLE), across + ends + end_names + (step if beside else 0))
    return _Plan(markup="".join(parts), width=width, height=height)


def _contact(cell: SeenContact | None, x: float, y: float, *, beside: bool, below: bool) -> Iterator[str]:
    """A contact with its name: upright outside its row, or beside it."""
    if cell is None:
        yield _path("left-out", f"M{number(x - 3)},{number(y + BAR / 2)}h6", dashed=True)
        return
    yield _mark(cell.role if cell.net else None, x, y)
    if beside:
        yield words("figure", x + 9.0, y + BAR / 2 + LETTER / 3, LETTER, _label(cell), anchor="start")
    else:
        at, anchor = (y + BAR + 5.0, "end") if below else (y - 5.0, "start")
        shift = ARROW + 3.0 if cell.first else 0.0
        yield words(
            "figure",
            x + LETTER / 3,
            at + (shift if below else -shift),
            LETTER,
            _label(cell),
            anchor=anchor,
            turned=True,
        )
    if cell.first:
        tip, away = (y + BAR + 2.0, 1.0) if below else (y - 2.0, -1.0)
        base, half = number(tip + away * ARROW), ARROW / 2
        shape = f"M{number(x)},{number(tip)}L{number(x - half)},{base}L{number(x + half)},{base}z"
        yield element("path", {"class": "first", "d": shape, "fill": "black"})


def _ends(ends: Iterable[SeenContact], across: tuple[float, float], down: tuple[float, float]) -> Iterator[str]:
    """Power contacts and hold-downs at their end, above, below or in the middle."""
    each_end: dict[tuple[bool, int], list[SeenContact]] = {}
    for each in ends:
        each_end.setdefault((each.x > 0, (each.y > 0) - (each.y < 0)), []).append(each)
    for (right, side), cells in each_end.items():
        middle = (down[0] + down[1]) / 2 + side * (down[1] - down[0] - BAR) / 2
        for place, cell in enumerate(sorted(cells, key=lambda one: abs(one.x)), 1):
            away = END_GAP * place - STEP / 4
            x = across[1] + away if right else across[0] - STEP / 2 - away
            yield _mark(cell.role if cell.net else None, x, middle - BAR / 2)
            out = x + 9.0 if right else x - 9.0
            y = middle + LETTER / 3 + (place - len(cells)) * LETTER
            yield words("figure", out, y, LETTER, _label(cell), anchor="start" if right else "end")


def _mark(role: Role | None, x: float, y: float) -> str:
    """A contact's bar, its form by what it carries."""
    left, right, low = number(x - 5.0), number(x + 5.0), number(y + BAR)
    bar = f"M{left},{number(y)}H{right}V{low}H{left}z"
    if role == "supply":
        return _path("supply", bar, fill="black")
    if role == "ground":
        bars = "".join(f"M{left},{number(y + BAR * share)}H{right}" for share in (0.25, 0.5, 0.75))
        return _path("ground", bar + bars)
    if role == "open":
        return _path("open", f"{bar}M{left},{number(y)}L{right},{low}M{right},{number(y)}L{left},{low}")
    return _path("signal", bar) if role == "signal" else _path("unknown", bar, dashed=True)


def _path(css: str, data: str, *, fill: str = "none", dashed: bool = False) -> str:
    dash = "2 2" if dashed else None
    return element("path", {"class": css, "d": data, "fill": fill, "stroke": "black", "stroke-dasharray": dash})
