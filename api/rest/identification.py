"""Routes for identification and explanation. Plain functions, so that their CPU work runs in the thread pool."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends

from api.identification.answering import answer, explanation
from api.schemas.answers import Answer, ExplainAnswer
from api.schemas.examples import EXPLAIN_EXAMPLES, IDENTIFY_EXAMPLES, described
from api.schemas.requests import ExplainRequest, IdentifyRequest
from api.service.dependencies import SnapshotDep, require_json
from api.service.problem_types import OF_BODIES, OF_READING
from api.service.responses import documented

REFUSALS = (*OF_BODIES, *OF_READING, "invalid-observations", "unknown-half")

router = APIRouter(tags=["identification"], dependencies=[Depends(require_json)], responses=documented(*REFUSALS))


@router.post("/identify", summary="Identify a half")
def identify(
    specimen: Annotated[IdentifyRequest, Body(openapi_examples=described(IDENTIFY_EXAMPLES))], snapshot: SnapshotDep
) -> Answer:
    """Rank the catalogue's halves for the observations of one specimen.

    `probability_absent` says how probable it is that the half is **not in this catalogue**; it and the probabilities of
    all candidates add up to 1. Halves that no measurement can distinguish are one candidate. Each candidate lists its
    mates to order, with the stack height. Read the `cautions` before you connect anything.
    """
    return answer(snapshot, specimen)


@router.post("/identify/explain", summary="Explain the rank of a half")
def explain(
    specimen: Annotated[ExplainRequest, Body(openapi_examples=described(EXPLAIN_EXAMPLES))], snapshot: SnapshotDep
) -> ExplainAnswer:
    """The rank and the probability of one half, and what each observation says for or against it."""
    return explanation(snapshot, specimen)
