"""Routes for the feature table, the instruments and the server's health."""

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


@router.get("/features", summary="All features")
def list_features() -> FeatureList:
    """Every feature with its exact meaning, how to measure it and with which instruments; and what is out of scope."""
    return feature_list()


@router.get("/instruments", summary="All built-in instruments")
def list_instruments() -> InstrumentList:
    """The built-in instruments and their errors. An identification can override a figure by its `instruments`."""
    return InstrumentList(items=tuple(instrument_out(instrument) for instrument in BUILT_IN.values()))


@health_router.get(
    "/health", summary="Health of the server", responses=documented("catalogue-locked", "catalogue-unusable")
)
def health(catalogue: CatalogueDep) -> Health:
    """Reads the catalogue's version, so it fails if the catalogue cannot be used."""
    return Health(status="ok", version=program_version(), catalogue_version=catalogue.version())
