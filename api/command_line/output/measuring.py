"""Printed measurements: lengths with their budgets, rows that were found, and the command for the next step."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.text import Text

from api.command_line.output.console import indented, notes, plain, table
from api.identification import answer_words as words
from api.observations.short_form_writing import jaws_options
from api.schemas.measured import BudgetLine, FittedRow, FoundRow, MeasureAnswer, Measured, PictureAnswer, RowAnswer
from matcher.plus_minus import INTERVAL, STANDARD

SHOWN_ALTERNATIVES = 3
"""Other counts listed for a row; --json has all."""

SHOWN_DOUBTFUL = 12
"""Doubtful contacts listed; the others are counted, and the JSON answer has them."""


def row_blocks(answer: RowAnswer) -> Iterator[RenderableType]:
    """The rows found in a picture."""
    for place, row in enumerate(answer.rows, start=1):
        yield from _row(f"Row {place}" if len(answer.rows) > 1 else "The row", row)
    yield from _doubtful(answer.rows)
    yield from _relations(answer)
    yield from _budgets(answer.budgets)
    yield from notes("Worth knowing", answer.notes)


def measure_blocks(answer: MeasureAnswer) -> Iterator[RenderableType]:
    """The evaluation of clicked points and readings."""
    for picture in answer.pictures:
        yield from _picture(picture)
    yield from _budgets(answer.budgets)
    of_pictures = [f"{picture.name}: {note}" for picture in answer.pictures for note in picture.notes]
    yield from notes("Worth knowing", (*of_pictures, *answer.notes))


def onward(answer: RowAnswer | MeasureAnswer) -> str:
    """The command for the next step. It stays one line, however long, so that it can be copied."""
    jaws = answer.closed_jaws if isinstance(answer, MeasureAnswer) else {}
    return f"otherhalf identify {shlex.join([*answer.short_form, *jaws_options(jaws)])}"


def _row(name: str, row: FoundRow) -> Iterator[RenderableType]:
    yield Text(f"{name}: {row.count} contacts, {_sureness(row)}", style="bold")
    tone = "dark" if row.dark else "bright"
    yield plain(f"pitch {row.pitch_px:.4f} px ±{row.pitch_u95:.4f} ({INTERVAL}), {tone} contacts")
    yield from (indented(reason, 2) for reason in row.reasons)


def _sureness(row: FoundRow) -> str:
    likely = words.percent(row.count_probability)
    if row.sure:
        return f"sure ({likely})"
    others = [f"{other.count} ({words.percent(other.probability)})" for other in row.alternatives]
    more = f"; or {', '.join(others[:SHOWN_ALTERNATIVES])}" if others else ""
    return f"NOT SURE ({likely}){more}"


def _doubtful(rows: Sequence[FoundRow]) -> Iterator[RenderableType]:
    doubtful = [
        (place, contact)
        for place, row in enumerate(rows, 1)
        for contact in row.contacts
        if contact.doubtful is not None
    ]
    if not doubtful:
        return
    yield plain("")
    yield plain("Check these by eye:")
    lines = table("row", "place", "x", "y", "why", right=("row", "place", "x", "y"))
    for place, contact in doubtful[:SHOWN_DOUBTFUL]:
        x, y = ("" if each is None else f"{each:.1f}" for each in (contact.x, contact.y))
        lines.add_row(str(place), str(contact.index + 1), x, y, plain(contact.doubtful or ""))
    yield lines
    if len(doubtful) > SHOWN_DOUBTFUL:
        yield plain(f"and {len(doubtful) - SHOWN_DOUBTFUL} more; --json lists them all.")


def _relations(answer: RowAnswer | PictureAnswer) -> Iterator[RenderableType]:
    for each in answer.relations:
        first, second = (place + 1 for place in each.rows)
        layout = f"{each.layout} ({words.percent(each.probability)})"
        doubt = "" if each.agree else "; BUT THEIR PITCH OR DIRECTION DIFFERS"
        yield plain(f"Rows {first} and {second}: {each.spacing_px:.2f} px apart, {layout}{doubt}")
    if answer.scale is not None:
        doubt = words.percent(answer.scale.rel)
        yield plain(f"Scale: {answer.scale.px_per_mm:.5g} px per mm, {STANDARD} {doubt} ({answer.scale.source})")


def _picture(picture: PictureAnswer) -> Iterator[RenderableType]:
    yield Text(f"Picture {picture.name}: {STANDARD} of a click {picture.click_u:.2f} px", style="bold")
    for place, row in enumerate(picture.rows, start=1):
        yield from _fitted(place, row)
    yield from _relations(picture)
    yield plain("")


def _fitted(place: int, row: FittedRow) -> Iterator[RenderableType]:
    missing = f", {len(row.missing)} of them not clicked" if row.missing else ""
    yield plain(
        f"Row {place}: {row.spans + 1} places{missing}; pitch {row.pitch_px:.4f} px ±{row.pitch_u95:.4f} ({INTERVAL}), "
        f"tilt {row.tilt_degrees:.2f}°"
    )
    for point in row.points:
        if point.outlier:
            yield indented(
                f"{point.field}: {point.off_px:+.1f} px off along, {point.across_px:+.1f} across: not used", 2
            )


def _budgets(measured: Sequence[Measured]) -> Iterator[RenderableType]:
    for each in measured:
        yield plain("")
        yield Text(_headline(each), style="bold")
        yield _budget(each)
        yield from (indented(note, 2) for note in (*_agreement(each), *each.notes))
    if measured:
        yield plain("")
        yield plain(f"u, contribution: {STANDARD}; dof: degrees of freedom.")


def _headline(each: Measured) -> str:
    label, figures = words.feature_label(each.feature, each.of), 3 if each.unit == "px" else 4
    spans = f", of {each.spans} gaps" if each.spans > 1 else ""
    value = f"{each.value:.{figures}f} {each.unit} ±{each.expanded:.{figures}f}"
    return f"{label}: {value} ({each.level:.0%}".replace("%", " %") + f", k = {each.coverage_factor:.2f}){spans}"


def _budget(each: Measured) -> RenderableType:
    numbers = ("u", "sensitivity", "contribution", "dof")
    lines = table("source", "distribution", *numbers, right=numbers)
    for line in each.budget:
        lines.add_row(plain(line.source), line.distribution, *_figures(line))
    lines.add_row("together", "", "", "", f"{each.u:.2g}", _dof(each.degrees_of_freedom))
    return lines


def _figures(line: BudgetLine) -> tuple[str, ...]:
    return f"{line.u:.2g}", f"{line.sensitivity:.3g}", f"{line.contribution:.2g}", _dof(line.degrees_of_freedom)


def _dof(degrees_of_freedom: float | None) -> str:
    return "∞" if degrees_of_freedom is None else f"{degrees_of_freedom:.3g}"


def _agreement(each: Measured) -> Iterator[str]:
    if each.chi2 is not None and each.p is not None:
        yield (
            f"{len(each.observations)} readings combined: χ² = {each.chi2:.2f} with {each.chi2_degrees_of_freedom} "
            f"degrees of freedom, p = {each.p:.2g}"
        )
