"""What is taken to the shop and to the bench: what to order, from what it was identified, what to check and when."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from api.drawing.pdf import PdfSheets
from api.drawing.print_sheet import PAPERS
from api.fitting.soldering import FITTING, soldering
from api.identification import answer_words as words
from api.identification.answering import explanation
from api.identification.cautions import cautions_before
from api.identification.mates import half_ref, listed_mates
from api.identification.nearest import require_half
from api.observations.short_form_writing import in_words
from api.schemas.answers import Mate
from api.schemas.fitting.order_note import ArrivalCheck, OrderNote, OrderNoteRequest, Soldering
from api.schemas.numbering_words import numbering_in_words
from api.schemas.problems import FieldProblem
from api.schemas.requests import ExplainRequest
from api.schemas.words import STANDING_WORDS
from api.service.problems import ApiError
from catalog.evidence.agreement import spanned
from catalog.model.entries import Half
from catalog.review.dimensions import interval
from catalog.snapshot.snapshot import Snapshot
from matcher.decision.verdict import IDENTIFIED_FROM
from matcher.features import ESSENTIAL, FEATURES
from matcher.plus_minus import PROCESS

SPARE_SHARE = 0.25
"""Spares for each piece that is fitted, at least one: a spoiled half costs weeks. Common practice, no source."""

MORE_IF_HARD = 2
"""Times as many spares where soldering is hard. Common practice, no source."""

CHECKED = ("contact_count", "rows", "pitch", "body_length", "body_width", "height")
"""What is checked on arrival."""

AFTER = (
    "Supply to ground: no short, on the new part and on the board, before anything is connected.",
    "Each contact to its neighbours: no bridge.",
    "Each contact from the board through the mated pair to the other side: continuity, and to the right one.",
    "First power from a supply with a current limit, without the cell; feel for warmth; then the cell, last.",
)
"""Checks after soldering, in their order."""

CODES = (
    "Order codes of one entry may differ in packing. Height, pegs, plating and the number of contacts may not: compare "
    "the code you are offered letter by letter, and ask where one is not listed here."
)

MARGIN, TITLE, LETTERS = 14.0, 5.0, 3.2
"""Border and heights of letters of the PDF, mm."""


def order_note(snapshot: Snapshot, asked: OrderNoteRequest) -> OrderNote:
    """The note. Raises ApiError for an unknown half, a half without mates, and a mate that is not listed for it."""
    require_half(snapshot, asked.half, "half")
    mate = _mate(snapshot, asked)
    part = snapshot.halves[mate.id].half
    can = soldering(part, asked.tools)
    spares = max(1, math.ceil(SPARE_SHARE * asked.quantity)) * (1 if can.verdict == "yes" else MORE_IF_HARD)
    probability, tied = _identified(snapshot, asked)
    stages = ("before measuring", "before soldering", "before power")
    parts = {
        "order": tuple(_order(mate, asked.quantity, spares)),
        "identified_from": tuple(
            in_words(each.model_dump(mode="json", exclude_defaults=True)) for each in asked.observations
        ),
        "not_verified": tuple(_not_verified(asked, mate, probability, tied)),
        "fitting": FITTING,
        "on_arrival": tuple(_on_arrival(part)),
        "after_fitting": AFTER,
    }
    made = OrderNote(
        half=half_ref(snapshot.halves[asked.half]),
        mate=mate,
        quantity=asked.quantity,
        spares=spares,
        probability=probability,
        soldering=can,
        cautions=cautions_before(*stages),
        text="",
        **parts,
    )
    return made.model_copy(update={"text": "\n".join(_text(made))})


def _mate(snapshot: Snapshot, asked: OrderNoteRequest) -> Mate:
    mates = listed_mates(snapshot, asked.half)
    chosen = next((mate for mate in mates if asked.mate in (None, mate.id)), None)
    if chosen is None:
        known = ", ".join(dict.fromkeys(mate.id for mate in mates))
        message = "no mate of this half is listed" if not mates else "this is not a listed mate of the half"
        remedy = f"choose one of {known}" if mates else "see what it must be: otherhalf mates, POST /v1/mates"
        field = "mate" if mates else "half"
        raise ApiError.of_fields(
            [FieldProblem(field=field, value=asked.mate if mates else asked.half, message=message, remedy=remedy)]
        )
    return chosen


def _identified(snapshot: Snapshot, asked: OrderNoteRequest) -> tuple[float | None, Sequence[str]]:
    """Probability of the half by the observations, and the halves that they cannot tell from it."""
    if not asked.observations:
        return None, ()
    given = asked.model_dump(include=set(ExplainRequest.model_fields), exclude_unset=True)
    found = explanation(snapshot, ExplainRequest.model_validate(given)).candidate
    return found.probability, [each.part_number for each in found.same_geometry]


def _order(mate: Mate, quantity: int, spares: int) -> Iterator[str]:
    yield f"{quantity + spares} × {words.half_name(mate)} ({quantity} to fit, {spares} spare)"
    if mate.order_codes:
        yield f"Sold as {', '.join(mate.order_codes)}. {CODES}"
    else:
        yield f"No order code is listed. {CODES}"
    yield f"Stack height with this half: {words.stack(mate)}."
    yield f"Contacts: {words.contacts(mate)}; {words.basis(mate)}."
    yield from (f"Mind: {said}." for said in mate.beware)
    if mate.citation is not None:
        revision = f", revision {mate.citation.revision}" if mate.citation.revision else ""
        yield f"Source: {mate.citation.title}{revision}."


def _not_verified(asked: OrderNoteRequest, mate: Mate, probability: float | None, tied: Sequence[str]) -> Iterator[str]:
    seen = {each.feature for each in asked.observations}
    missing = [FEATURES[name].label for name in ("contact_count", "rows", *ESSENTIAL) if name not in seen]
    if missing:
        yield f"Not measured on the half: {', '.join(dict.fromkeys(missing))}."
    if probability is None:
        yield "Nobody said from what the half was identified."
    elif probability < IDENTIFIED_FROM:
        yield f"It is this half with a probability of {words.percent(probability)} only."
    if tied:
        yield f"{words.alike(tied, len(tied))} Their mates may differ."
    if mate.correspondence == "unknown":
        yield "Which contact meets which: nobody stated it. Trace both boards."
    if mate.basis != "maker":
        yield f"That they mate: {words.basis(mate)}."
    if mate.standing != "confirmed":
        yield f"The figures of the mate: {STANDING_WORDS[mate.standing]}."
    if mate.stack_height is None:
        yield "The stack height: it is not stated."


def _on_arrival(part: Half) -> Iterator[ArrivalCheck]:
    for name in CHECKED:
        yield ArrivalCheck(feature=FEATURES[name].label, expected=_expected(part, name), how=FEATURES[name].how)
    yield ArrivalCheck(
        feature="one dry mating, power off",
        expected="goes in straight by its own guidance and lies flat all round",
        how="Once only, both halves the right way round: these connectors stand few mating cycles. Do not force it.",
    )
    yield ArrivalCheck(
        feature="contact 1",
        expected=numbering_in_words(part.numbering),
        how="Find the mark on the part and on the board, and check one supply contact with a meter.",
    )


def _expected(part: Half, name: str) -> str:
    """A count, or a size with the limits within which parts lie; a pitch over all gaps of a row."""
    if name not in part.dimensions:
        count = part.all_counts.get(name)
        return "not stated" if count is None else str(count)
    centre, reach = interval(part, name)
    gaps = max(part.contacts_per_row - 1, 1) if FEATURES[name].is_pitch and part.counts.get("bank_count", 1) == 1 else 1
    over = f" over {gaps} gaps" if gaps > 1 else ""
    return f"{gaps * centre:.3f} ± {gaps * spanned(name, reach, gaps):.3f} mm{over} ({PROCESS})"


# --- the note as text and as PDF ---------------------------------------------------------------------------------


def sections(note: OrderNote) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Headings with their lines, in the order in which they are needed."""
    yield "To order", note.order
    chance = [] if note.probability is None else [f"Probability: {words.percent(note.probability)}."]
    yield f"For the other half, {words.half_name(note.half)}, identified from", (*note.identified_from, *chance)
    yield "Not verified", note.not_verified
    yield (
        "On arrival, before anything is soldered",
        tuple(f"{each.feature}: {each.expected}. {each.how}" for each in note.on_arrival),
    )
    yield "Soldering", (solderable(note.soldering), *note.fitting)
    yield "After soldering", note.after_fitting
    for stage, said in note.cautions.items():
        yield f"Mind {stage}", said


def solderable(found: Soldering) -> str:
    """Whether it can be soldered, in one sentence."""
    return f"{SOLDERABLE_WORDS[found.verdict]}. {found.why}"


SOLDERABLE_WORDS = {
    "yes": "Can be soldered with what you have",
    "hard": "Hard to solder with what you have",
    "no": "Not with what you have",
    "unknown": "Not known whether you can solder it",
}


def _text(note: OrderNote) -> Iterator[str]:
    yield f"Order note: {words.half_name(note.mate)} for {words.half_name(note.half)}"
    for heading, lines in sections(note):
        if lines:
            yield ""
            yield heading
            yield from (f"- {line}" for line in lines)


def note_pdf(note: OrderNote, paper: str = "A4") -> bytes:
    """The note as a PDF, with a box to tick at each check."""
    width, height = PAPERS[paper]
    title = f"Order note: {words.half_name(note.mate)}"
    sheets = PdfSheets(PAPERS[paper], title)
    y = sheets.passage(MARGIN, MARGIN + TITLE, width - 2 * MARGIN, TITLE, title, bold=True) + TITLE
    for heading, lines in sections(note):
        for number, line in enumerate((heading, *lines)):
            if y > height - MARGIN - 4 * LETTERS:
                sheets.next_sheet()
                y = MARGIN + TITLE
            if number:
                sheets.lines([_box(MARGIN, y)])
            left = MARGIN + (2 * LETTERS if number else 0.0)
            y = sheets.passage(left, y, width - MARGIN - left, LETTERS, line, bold=not number) + 0.3 * LETTERS
        y += LETTERS
    return sheets.finished()


def _box(left: float, base: float) -> list[tuple[float, float]]:
    """A box to tick beside a line of text."""
    top, right, bottom = base - 0.8 * LETTERS, left + LETTERS, base + 0.2 * LETTERS
    return [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
