"""The contact map of a half and its mate: a form for what was found, and the map as tables and drawings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from markupsafe import Markup
from sqlalchemy.orm import Session
from starlette.responses import Response

from api.fitting.wiring.contact_map import contact_map
from api.fitting.wiring.map_drawing import views_svg
from api.fitting.wiring.map_table import csv_of
from api.fitting.wiring.map_words import meeting_words, sentence, unsure
from api.fitting.wiring.nets import COLUMNS, read_nets
from api.observations.checking import form_of
from api.schemas.fitting.contact_map import ContactMapAnswer, ContactMapRequest
from api.schemas.numbering_words import SIDE_WORDS
from api.schemas.problems import FieldProblem
from api.schemas.words import CONTACT_WORDS
from api.service.dependencies import CatalogueDep, SnapshotDep
from api.service.problems import ApiError
from api.web.entries.half_facts import in_order, of_pair
from api.web.page.addresses import CONTACT_MAP, asked, half_page
from api.web.page.entry_lookup import unknown_entry
from api.web.page.rendering import Visit, VisitDep
from catalog.model.errors import NotFoundError
from catalog.records import queries
from catalog.records.read_models import HalfRecord

LONGEST_NETS = 40_000
"""Most characters of the table in the form: twenty for each contact of the largest half, twice."""

PLACES: Mapping[str, str] = {"top": "the top of its board", "bottom": "the bottom of its board"}
FOLDS: Mapping[str, str] = {"none": "not folded", "along_rows": "along the rows", "across_rows": "across the rows"}
TEXT: Mapping[str, str] = {"csv": "text/csv; charset=utf-8", "json": "application/json", "svg": "image/svg+xml"}
"""Media types of the files that can be kept."""

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, kw_only=True)
class Given:
    """What the form holds, as typed."""

    half: str
    mating: str = ""
    nets: str = ""
    seen_from: str = "mating_face"
    mate_on: str = "top"
    fold: str = "none"

    def request(self, mate: str | None) -> ContactMapRequest:
        """The request; raises ApiError for what cannot be read."""
        contacts = read_nets(self.nets) if self.nets.strip() else []
        given: dict[str, Any] = {"half": self.half, "mate": mate, "mating": self.mating or None, "contacts": contacts}
        return form_of(
            ContactMapRequest,
            given | {"seen_from": self.seen_from, "mate_on": self.mate_on, "fold": self.fold},
        )

    def file(self, ending: str) -> str:
        """The address of the map as a file."""
        names = ("half", "mating", "nets", "seen_from", "mate_on", "fold")
        return asked(f"{CONTACT_MAP}.{ending}", {name: getattr(self, name) for name in names if getattr(self, name)})


Word = Annotated[str, Query(max_length=1000)]


def _given(
    half: Word,
    mating: Word = "",
    nets: Annotated[str, Query(max_length=LONGEST_NETS)] = "",
    seen_from: Word = "mating_face",
    mate_on: Word = "top",
    fold: Word = "none",
) -> Given:
    nets = nets.replace("\r\n", "\n")
    return Given(half=half, mating=mating, nets=nets, seen_from=seen_from, mate_on=mate_on, fold=fold)


GivenDep = Annotated[Given, Depends(_given)]


@router.get(CONTACT_MAP)
def contact_map_page(visit: VisitDep, catalogue: CatalogueDep, snapshot: SnapshotDep, given: GivenDep) -> Response:
    """The map of a half to the mate of ``mating``, with the form that it was made from."""
    with catalogue.reading() as session:
        try:
            record = queries.get_half(session, given.half)
        except NotFoundError:
            return unknown_entry(visit, snapshot, given.half, "half")
        return _page(visit, session, record, given)


@router.get(f"{CONTACT_MAP}.{{ending}}")
def contact_map_file(catalogue: CatalogueDep, given: GivenDep, ending: str) -> Response:
    """The same map as CSV, JSON or SVG."""
    if ending not in TEXT:
        raise ApiError("not-found", f"a contact map is not kept as .{ending}; use {', '.join(TEXT)}")
    with catalogue.reading() as session:
        found = contact_map(session, given.request(_mate(session, given)))
    if ending == "svg" and not found.views:
        raise ApiError.at("half", "no half of the map states its numbering, so there is no view", "use .csv")
    text = {"csv": csv_of, "json": lambda answer: answer.model_dump_json(indent=2), "svg": _svg}[ending](found)
    sent = {"Content-Disposition": f'attachment; filename="contact-map.{ending}"'}
    return Response(text, media_type=TEXT[ending], headers=sent)


def _svg(found: ContactMapAnswer) -> str:
    return views_svg(found.views, "map")


def _mate(session: Session, given: Given) -> str | None:
    """The other half of the chosen mating."""
    if not given.mating:
        return None
    for mating, other in queries.mates_of(session, given.half):
        if mating.id == given.mating:
            return other.key
    raise ApiError.at("mating", "this half has no such mating", "choose one from the list", value=given.mating)


def _page(visit: Visit, session: Session, record: HalfRecord, given: Given) -> Response:
    errors: Sequence[FieldProblem] = ()
    found = None
    try:
        found = contact_map(session, given.request(_mate(session, given)))
    except ApiError as error:
        errors = error.errors or (FieldProblem(field="", message=error.detail),)
    bare = found or contact_map(session, ContactMapRequest(half=given.half)) if record.state == "listed" else None
    return visit.page(
        "contact_map.html",
        status=422 if errors else 200,
        half=record.half,
        given=given,
        errors=errors,
        found=found if given.mating or given.nets.strip() else None,
        matings=[
            (
                mating.id,
                f"{other.half.part_number}, {of_pair(mating.mating.stack_height) or 'stack height not stated'}, "
                f"{CONTACT_WORDS[mating.mating.correspondence]}",
            )
            for mating, other in (in_order(queries.mates_of(session, given.half)))
        ],
        nets=given.nets or _empty_table(bare),
        choices={"seen_from": SIDE_WORDS, "mate_on": PLACES, "fold": FOLDS},
        back=half_page(record.key),
        columns=COLUMNS,
        **({} if found is None else _shown(found, given)),
    )


def _empty_table(found: ContactMapAnswer | None) -> str:
    """A line for every contact, to be filled in."""
    names = [] if found is None else [each.contact for each in found.contacts]
    return "\n".join(("contact,net,reading,note", *(f"{name},,," for name in names)))


def _shown(found: ContactMapAnswer, given: Given) -> dict[str, Any]:
    drawn = []
    for whose in ("mate", "half"):
        views = [view for view in found.views if view.whose == whose]
        if views:
            drawn.append((f"The contacts of {_part(found, whose)}", Markup(views_svg(views, whose))))
    return {
        "sentence": sentence(found),
        "unsure": unsure(found),
        "drawn": drawn,
        "cases": [
            {
                "title": case.title,
                "why": case.why,
                "possible": case.possible,
                "meetings": [meeting_words(meeting) for meeting in case.meetings],
            }
            for case in found.misplaced
        ],
        "files": {ending: given.file(ending) for ending in TEXT if ending != "svg" or found.views},
    }


def _part(found: ContactMapAnswer, whose: str) -> str:
    return found.half.part_number if whose == "half" or found.mate is None else found.mate.part_number
