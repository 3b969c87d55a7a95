"""Advice on the next measurement, named so that a person can follow it.

Identification and the dialogue of the command line both advise through here.
"""

from __future__ import annotations

from dataclasses import asdict

from api.schemas import answers
from catalog.snapshot import Snapshot
from matcher.advice.next_measurement import Advice, NextMeasurement


def next_measurements(snapshot: Snapshot, advice: Advice) -> tuple[answers.NextMeasurement, ...]:
    """The measurements that are advised, most telling first."""
    return tuple(_measurement(snapshot, each) for each in advice.measurements)


def _measurement(snapshot: Snapshot, found: NextMeasurement) -> answers.NextMeasurement:
    predicted = tuple(
        answers.Predicted(id=each.key, part_number=snapshot.halves[each.key].half.part_number, value=each.value)
        for each in found.predicted
    )
    return answers.NextMeasurement(**{**asdict(found), "predicted": predicted})


def further_measuring(advice: Advice) -> answers.FurtherMeasuring:
    """Whether further measuring can change what to order."""
    return answers.FurtherMeasuring(settled=advice.settled, reason=advice.reason, probability=advice.probability)
