"""Route for the lands of a half: as JSON, as an open footprint file, or as a picture at 1:1."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request, Response

from api.fitting.lands.land_files import kicad_mod, svg
from api.fitting.lands.lands import answer_of, lands_of
from api.schemas.fitting.lands import Form, LandsAnswer
from api.service.dependencies import CatalogueDep, tell_tag
from api.service.problem_types import OF_READING
from api.service.responses import documented
from catalog.history.preconditions import tag_of

WRITERS = {"kicad_mod": (kicad_mod, "text/plain; charset=utf-8"), "svg": (svg, "image/svg+xml")}
"""What writes each form of file, and its media type."""

router = APIRouter(tags=["fitting"], responses=documented(*OF_READING, "unknown-entry"))


@router.get("/halves/{key}/lands", summary="The lands of a half", response_model=LandsAnswer)
def get_lands(
    key: str,
    catalogue: CatalogueDep,
    request: Request,
    response: Response,
    form: Annotated[Form, Query(description="JSON, an open footprint file, or a picture at 1:1.")] = "json",
    dummy: Annotated[
        bool, Query(description="Where they are not known: calculated from the tails, for a dummy only.")
    ] = False,
) -> LandsAnswer | Response:
    """Lands, holes, courtyard and keep-out areas, pad by pad, with their source and licence.

    They come from an imported footprint file. With `dummy`, a half whose lands are not known gets calculated ones,
    which are marked as such in every form.
    """
    with catalogue.reading() as session:
        tell_tag(request, response, f"{tag_of(session, 'half', key)}-{form}-{dummy}")
        record, pattern = lands_of(session, key, dummy=dummy)
    if form == "json":
        return answer_of(record, pattern)
    write, media_type = WRITERS[form]
    name = f"{record.half.part_number}.{form}"
    headers = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name, safe='')}"}
    headers |= {each: response.headers[each] for each in ("ETag", "Cache-Control")}
    return Response(write(pattern, record.half.part_number), media_type=media_type, headers=headers)
