"""The lands of a half: as a file gave them, or calculated for a dummy where that is asked for."""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.fitting.lands.calculated_lands import NotCalculableError, calculated_pattern
from api.fitting.lands.land_files import told
from api.identification.cautions import listed_cautions
from api.schemas.fitting.lands import LandsAnswer
from api.service.problems import ApiError
from catalog.contribute.land_patterns import pattern_of
from catalog.model.entries import Half
from catalog.model.land_pattern import LandPattern
from catalog.records.queries import get_half
from catalog.records.read_models import HalfRecord


def lands_of(session: Session, key: str, *, dummy: bool) -> tuple[HalfRecord, LandPattern]:
    """A listed half and its lands; ``dummy`` allows calculated ones. Raises NotFoundError, and ApiError where its lands
    are neither known nor can be calculated."""
    record = get_half(session, key)
    known = pattern_of(session, key)
    if known is not None:
        return record, known
    if not dummy:
        raise _unknown(record, "import its footprint file, or ask for lands that are calculated for a dummy")
    try:
        return record, calculated_pattern(record.half)
    except NotCalculableError as error:
        raise _unknown(record, f"import its footprint file; none can be calculated: {error.why}") from error


def basis_of_lands(session: Session, half: Half) -> str:
    """Where the lands of a listed half would come from: file, calculated, or empty where there are none."""
    if pattern_of(session, half.key) is not None:
        return "file"
    try:
        return calculated_pattern(half).basis
    except NotCalculableError:
        return ""


def _unknown(record: HalfRecord, remedy: str) -> ApiError:
    message = f"the lands of {record.half.part_number} are not known one by one"
    return ApiError.at("half", message, remedy, value=record.key, name="unknown-entry")


def answer_of(record: HalfRecord, pattern: LandPattern) -> LandsAnswer:
    """The lands with what must be said beside them."""
    return LandsAnswer(
        pattern=pattern,
        told=told(pattern, record.half.part_number),
        cautions=listed_cautions("before soldering"),
    )
