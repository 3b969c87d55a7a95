"""Models of lists, search results and reference tables."""

from __future__ import annotations

from typing import Generic, TypeVar

from pydantic import Field

from api.schemas.answers import Out
from catalog.snapshot.search import HitKind
from matcher.features import FEATURES, Feature, Kind, Plane, Subject
from matcher.uncertainty.instruments import Instrument, Scale

R = TypeVar("R")


class Page(Out, Generic[R]):
    """Some entries in the order of their keys. Follow `next` until it is null."""

    items: tuple[R, ...]
    next: str | None = Field(description="Cursor of the next page; null: nothing follows.")
    catalogue_version: int


class SearchHit(Out):
    """A search hit."""

    key: str
    kind: HitKind
    label: str
    score: float = Field(description="0 to 1; 1: exactly this text.")
    matched: str = Field(description="The text that was found.")


class SearchAnswer(Out):
    """The hits of a text search, best first."""

    query: str
    hits: tuple[SearchHit, ...]
    catalogue_version: int


class CategoryValue(Out):
    """A value of a category, with its label."""

    name: str
    label: str


class FeatureOut(Out):
    """One row of the feature table."""

    name: str
    label: str
    kind: Kind
    subject: Subject
    meaning: str
    how: str
    synonyms: tuple[str, ...]
    instruments: tuple[str, ...] = Field(description="Built-in instruments that can measure it, best first.")
    unit: str | None = Field(description="mm for lengths; requests may use other units.")
    low: float | None
    high: float | None
    plane: Plane | None
    values: tuple[CategoryValue, ...]


class OutOfScopeOut(Out):
    """A kind of connector out of scope: how to recognise it, why, and what to do instead."""

    name: str
    sign: str
    reason: str
    instead: str


class FeatureList(Out):
    """All features, in the order of the bench page; and the kinds of connector that are out of scope."""

    items: tuple[FeatureOut, ...]
    out_of_scope: tuple[OutOfScopeOut, ...]


class InstrumentOut(Out):
    """A built-in instrument and its errors. The figures are common practice; a request can override them."""

    name: str
    label: str
    limit_mm: float
    step_mm: float
    feel_mm: float
    inside_and_depth_extra_mm: float
    seating_mm: float = Field(
        description="Gap under a half on its board, subtracted from its height; ± the limit of error."
    )
    seating_limit_mm: float
    focus_depth_mm: float = Field(description="Depth of field, for heights by two focus settings.")
    scale: Scale
    scale_rel: float
    other_plane_rel: float
    perspective_rel: float
    step_px: float | None
    feel_px: float | None
    can: tuple[str, ...] = Field(description="Features that it can measure well.")
    note: str


class InstrumentList(Out):
    """The built-in instruments."""

    items: tuple[InstrumentOut, ...]


def feature_out(feature: Feature) -> FeatureOut:
    """A row of the feature table in the interface's form."""
    ranged = feature.high > 0
    return FeatureOut(
        name=feature.name,
        label=feature.label,
        kind=feature.kind,
        subject=feature.subject,
        meaning=feature.meaning,
        how=feature.how,
        synonyms=feature.synonyms,
        instruments=feature.instruments,
        unit="mm" if feature.kind is Kind.DIMENSION else None,
        low=feature.low if ranged else None,
        high=feature.high if ranged else None,
        plane=feature.plane,
        values=tuple(CategoryValue(name=name, label=label) for name, label in feature.values.items()),
    )


def instrument_out(instrument: Instrument) -> InstrumentOut:
    """A built-in instrument in the interface's form; features in the order of the table."""
    values = {name: getattr(instrument, name) for name in InstrumentOut.model_fields}
    return InstrumentOut(**values | {"can": tuple(name for name in FEATURES if name in instrument.can)})
