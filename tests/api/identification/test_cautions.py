"""Cautions: what must be said before measuring, soldering and power."""

from __future__ import annotations

import pytest

from api.identification.cautions import BY_STAGE, CAUTIONS, cautions_before


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        ("before measuring", ("Switch off", "cell out", "steel jaws", "capacitors stay charged", "end for end")),
        ("before soldering", ("cell away", "Solvents", "fumes", "static discharge")),
        ("before power", ("wired differently", "connect the cell last", "current limit", "Supply and return")),
        ("in all work", ("local rules", "qualified person")),
    ],
)
def test_each_stage_names_what_can_hurt_in_it(stage: str, words: tuple[str, ...]) -> None:
    told = " ".join(BY_STAGE[stage])
    assert [each for each in words if each not in told] == []


def test_every_selection_ends_with_who_decides() -> None:
    for stage in BY_STAGE:
        assert list(cautions_before(stage))[-1] == "in all work"
    assert cautions_before(*BY_STAGE) == dict(BY_STAGE)
    with pytest.raises(KeyError):
        cautions_before("before lunch")


def test_no_caution_is_said_twice() -> None:
    assert len(set(CAUTIONS)) == len(CAUTIONS) == sum(map(len, BY_STAGE.values()))
