"""What can be observed, with what, and whether the server is up."""

from __future__ import annotations

from fastapi import APIRouter

from api.identification.triage import feature_list
from api.schemas.answers import Health
from api.schemas.lists import FeatureList, InstrumentList, instrument_out
from api.service.dependencies import CatalogueDep, program_version
from api.service.responses import documented
from matcher.uncertainty.instruments import BUILT_IN

router = APIRouter(tags=["reference"], responses=documented("invalid-request"))
health_router = APIRouter(tags=["reference"])


@router.get("/features", summary="What can be observed")
def list_features() -> FeatureList:
    """Every feature with its exact meaning, how to take it, and what can take it; and what is out of scope."""
    return feature_list()


@router.get("/instruments", summary="What it can be measured with")
def list_instruments() -> InstrumentList:
    """The built-in instruments and how wrong each can be. Override a figure by `instruments` of an identification."""
    return InstrumentList(items=tuple(instrument_out(instrument) for instrument in BUILT_IN.values()))


@health_router.get(
    "/health", summary="Whether the server can answer", responses=documented("catalogue-locked", "catalogue-unusable")
)
def health(catalogue: CatalogueDep) -> Health:
    """Reads the catalogue's version."""
    return Health(status="ok", version=program_version(), catalogue_version=catalogue.version())
