"""Identification and explanation. CPU work: plain functions, so that they run in the thread pool."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends

from api.identification.answering import answer, explanation
from api.schemas.answers import Answer, ExplainAnswer
from api.schemas.examples import EXPLAIN_EXAMPLES, IDENTIFY_EXAMPLES, described
from api.schemas.requests import ExplainRequest, IdentifyRequest
from api.service.dependencies import SnapshotDep, require_json
from api.service.responses import documented

REFUSALS = (
    "malformed-json",
    "body-too-large",
    "unsupported-content",
    "invalid-request",
    "invalid-observations",
    "unknown-half",
    "internal-error",
    "catalogue-locked",
    "catalogue-unusable",
)

router = APIRouter(tags=["identification"], dependencies=[Depends(require_json)], responses=documented(*REFUSALS))


@router.post("/identify", summary="Which half is it?")
def identify(
    specimen: Annotated[IdentifyRequest, Body(openapi_examples=described(IDENTIFY_EXAMPLES))], snapshot: SnapshotDep
) -> Answer:
    """Rank the catalogue's halves for what was observed of one specimen.

    `probability_absent` says how probable it is that the half is **not in this catalogue** at all; the candidates'
    probabilities already allow for that. Halves that nothing measured can tell apart are one candidate. Each candidate
    lists its mates: what to order, with stack height. Read the `cautions` before anything is connected.
    """
    return answer(snapshot, specimen)


@router.post("/identify/explain", summary="Why does this half stand where it stands?")
def explain(
    specimen: Annotated[ExplainRequest, Body(openapi_examples=described(EXPLAIN_EXAMPLES))], snapshot: SnapshotDep
) -> ExplainAnswer:
    """Explain one named half: its place, its probability, and what each observation says for and against it."""
    return explanation(snapshot, specimen)
