"""A figure that is probably in the wrong unit is queried before it counts against an entry."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy.orm import Session

from catalog.contribute.acknowledgements import ReviewRefusedError
from catalog.contribute.submission import confirm
from catalog.db.database import Catalogue
from catalog.evidence.statements import Confirmation
from tests.catalog.history.changed_entries import HALF, IDA, by, fill


def given(**value: Any) -> Confirmation:
    """A measured body length of the half, whose length is 7.4 ± 0.15 mm."""
    values = [{"feature": "body_length", **value}]
    return Confirmation.model_validate(
        {"of": "half", "key": HALF, "revision": 1, "basis": "measured", "values": values}
    )


def confirmed(session: Session, **value: Any) -> tuple[str, ...]:
    fill(session)
    _, findings = confirm(session, by(IDA), given(**value), {})
    return tuple(finding.code for finding in findings)


@pytest.mark.parametrize(
    "value",
    [
        {"value": 0.291, "u": 0.001},
        {"value": 0.291, "plus_minus": 0.001},
        {"readings": [0.291, 0.292, 0.291], "instrument": "caliper"},
        {"readings": [188.0, 187.9, 188.0], "instrument": "caliper"},
    ],
    ids=["inches with their u", "inches with their ±", "inches on a caliper", "millimetres converted again"],
)
def test_inches_entered_as_millimetres_are_refused(catalogue: Catalogue, value: dict[str, Any]) -> None:
    with pytest.raises(ReviewRefusedError), catalogue.writing() as session:
        confirmed(session, **value)


@pytest.mark.parametrize("length", [7.39, 5.1])
def test_a_length_that_fits_or_is_off_in_no_known_unit_is_accepted(catalogue: Catalogue, length: float) -> None:
    with catalogue.writing() as session:
        assert confirmed(session, readings=[length, length], instrument="caliper") == ()
