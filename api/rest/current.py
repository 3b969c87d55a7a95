"""Route for the current that a half and its mate carry."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from api.fitting.current import current
from api.schemas.current import CurrentAnswer, CurrentRequest
from api.service.dependencies import SnapshotDep, require_json
from api.service.problem_types import OF_BODIES, OF_READING
from api.service.responses import documented

router = APIRouter(
    tags=["fitting"],
    dependencies=[Depends(require_json)],
    responses=documented(*OF_BODIES, *OF_READING, "unknown-half"),
)


@router.post("/current", summary="Whether a half and its mate carry a current")
def carried(asked: CurrentRequest, snapshot: SnapshotDep) -> CurrentAnswer:
    """Whether the stated ratings of both halves cover a current: `enough`, `not_enough` or `unknown`.

    A rating holds for the number of loaded contacts it was taken with, and supply and return both count. What the
    ratings do not cover is `unknown`, and `missing` says what would have to be known. `enough` is never more than what
    `rests_on` names. Read the `cautions`.
    """
    return current(snapshot, asked)
