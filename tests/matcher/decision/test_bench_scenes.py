"""Scenes at the bench, in words: what was done wrong, and what the answer and the hint say of it.

The catalogue is invented; every scene is of one half of it, whose readings lie a little off.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pytest

from matcher.decision.likely_slips import Hint, hints
from matcher.decision.posterior import Posterior, posterior
from matcher.decision.verdict import verdict_of
from matcher.observations import Reduced
from matcher.results import Verdict
from tests.matcher.decision.test_hints_for_a_specimen import (
    COLUMNS,
    DIMENSIONS,
    IN_ROWS,
    PITCH,
    SPANS,
    STACK,
    TRUE,
    U,
    model,
    size,
    specimen,
)

Readings = dict[str, Reduced]
Change = Callable[[Readings], Mapping[str, Reduced]]
GAPS = 30 // IN_ROWS - 1


@dataclass(frozen=True, kw_only=True)
class Scene:
    """What was done, the readings that change, the verdict, and the kind and words of the first hint; "": no hint.

    Where a length is wrong the answer is a shortlist even if the right half is nearly certain: a reading does not fit.
    """

    done: str
    change: Change
    verdict: Verdict
    hint: str = ""
    says: str = ""


def typed(**values: float) -> Change:
    """Other values for some dimensions, mm."""
    return lambda given: {name: replace(given[name], value=value) for name, value in values.items()}


def counted(**counts: int) -> Change:
    """Other counts."""
    return lambda given: {name: replace(given[name], count=number) for name, number in counts.items()}


def divided(by: float, *names: str) -> Change:
    """Some dimensions typed in a unit of ``by`` mm."""
    return lambda given: {name: replace(given[name], value=given[name].number / by) for name in names}


def over(spans: int, gaps: int) -> Change:
    """The pitch measured over so many gaps, and divided by another number."""
    u = U / spans
    return lambda given: {"pitch": replace(given["pitch"], value=PITCH * gaps / spans, spans=spans, u=u, total_u=u)}


def swapped(one: str, other: str) -> Change:
    """The values of two observations in each other's place."""
    return lambda given: {
        name: replace(given[name], value=given[instead].value, count=given[instead].count)
        for name, instead in ((one, other), (other, one))
    }


def of_kind(kind: str) -> Change:
    """Another kind of half."""
    return lambda given: {"half_kind": replace(given["half_kind"], values=frozenset({kind}))}


def extra(name: str, **fields: object) -> Change:
    """One more observation."""
    reading = Reduced(index=20, feature=name, **fields)  # type: ignore[arg-type]
    return lambda _: {name: reading}


LENGTHS = ("pitch", *DIMENSIONS)
SCENES = (
    Scene(done="nothing wrong", verdict=Verdict.IDENTIFIED, change=typed()),
    Scene(
        done="length and width in each other's place",
        verdict=Verdict.SHORTLIST,
        change=swapped("body_length", "body_width"),
        hint="body_length_and_width_swapped",
        says="Body length and body width may stand in each other's place.",
    ),
    Scene(
        done="contacts and rows in each other's place",
        verdict=Verdict.IDENTIFIED,
        change=swapped("contact_count", "rows"),
        hint="contacts_and_rows_swapped",
        says="in each other's place",
    ),
    Scene(
        done="only one of two rows seen, and its contacts counted",
        verdict=Verdict.IDENTIFIED,
        change=counted(contact_count=30 // IN_ROWS, rows=1),
        hint="one_row_seen",
        says=f"with {IN_ROWS} there are 30 contacts",
    ),
    Scene(
        done="the whole row measured and typed as the pitch",
        verdict=Verdict.SHORTLIST,
        change=over(1, GAPS),
        hint="gaps_not_given",
        says=f"this may be the whole row; over {GAPS} gaps it is",
    ),
    Scene(
        done="the caliper showed inches for length and width",
        verdict=Verdict.SHORTLIST,
        change=divided(25.4, "body_length", "body_width"),
        hint="several_in_inches",
        says="Body length and body width: these may be in inches, typed as mm.",
    ),
    Scene(
        done="the caliper showed inches throughout",
        verdict=Verdict.SHORTLIST,
        change=divided(25.4, *LENGTHS),
        hint="everything_in_inches",
        says="All lengths may be in inches, typed as mm.",
    ),
    Scene(
        done="all lengths read in mils",
        verdict=Verdict.SHORTLIST,
        change=divided(0.0254, *LENGTHS),
        hint="everything_in_mils",
        says="All lengths may be in mils, typed as mm.",
    ),
    Scene(
        done="the length alone typed in inches",
        verdict=Verdict.SHORTLIST,
        change=divided(25.4, "body_length"),
        hint="inches",
        says="the number may be in inches",
    ),
    Scene(
        done="contacts counted where gaps were asked for",
        verdict=Verdict.SHORTLIST,
        change=over(SPANS + 1, SPANS),
        hint="contacts_for_gaps",
        says=f"{SPANS + 1} may be contacts, with {SPANS} gaps between",
    ),
    Scene(
        done="one gap missed",
        verdict=Verdict.SHORTLIST,
        change=over(SPANS - 1, SPANS),
        hint="gap_missed",
        says=f"taken over {SPANS} gaps",
    ),
    Scene(
        done="every second contact measured",
        verdict=Verdict.SHORTLIST,
        change=typed(pitch=2 * PITCH),
        hint="twice_the_pitch",
        says="every second contact may have been taken",
    ),
    Scene(
        done="the tails of both rows measured as one row",
        verdict=Verdict.SHORTLIST,
        change=typed(pitch=PITCH / 2),
        hint="half_the_pitch",
        says="contacts of two rows may have been taken for one row",
    ),
    Scene(
        done="hold-downs counted in",
        verdict=Verdict.SHORTLIST,
        change=counted(contact_count=30 + int(COLUMNS.counts["hold_down_count"][TRUE])),
        hint="hold_downs_counted",
        says="hold-downs may be counted in; then there are 30",
    ),
    Scene(
        done="power contacts counted in",
        verdict=Verdict.IDENTIFIED,
        change=counted(contact_count=33),
        hint="power_contacts_counted",
        says="power contacts may be counted in",
    ),
    Scene(
        done="one contact missed",
        verdict=Verdict.IDENTIFIED,
        change=counted(contact_count=29),
        hint="miscounted",
        says="may be miscounted",
    ),
    Scene(
        done="one contact too many in each row",
        verdict=Verdict.IDENTIFIED,
        change=counted(contact_count=30 + IN_ROWS),
        hint="miscounted",
        says="then there are 30",
    ),
    Scene(
        done="one row counted of two that were seen",
        verdict=Verdict.IDENTIFIED,
        change=counted(contact_count=30 // IN_ROWS),
        hint="one_row_only",
        says="may be those of one row only",
    ),
    Scene(
        done="the contacts of a row given as rows",
        verdict=Verdict.IDENTIFIED,
        change=counted(rows=30 // IN_ROWS),
        hint="rows_swapped",
        says="may be the contacts of one row",
    ),
    Scene(
        done="the receptacle called a plug",
        verdict=Verdict.IDENTIFIED,
        change=of_kind("plug"),
        hint="receptacle_for_plug",
        says="may be a receptacle",
    ),
    Scene(
        done="the length measured over the hold-downs",
        verdict=Verdict.SHORTLIST,
        change=lambda _: typed(body_length=size("overall_length"))(specimen()),
        hint="overall_length_for_body_length",
        says="may reach over the hold-downs",
    ),
    Scene(
        done="the width measured over the tails",
        verdict=Verdict.SHORTLIST,
        change=lambda _: typed(body_width=size("tail_span"))(specimen()),
        hint="tail_span_for_body_width",
        says="may reach over the tails",
    ),
    Scene(
        done="the height measured with a board of 1.6 mm",
        verdict=Verdict.SHORTLIST,
        change=lambda _: typed(height=size("height") + 1.6)(specimen()),
        hint="board_thickness",
        says="the board's thickness may still be in it",
    ),
    Scene(
        done="the mated pair's height given as this half's",
        verdict=Verdict.SHORTLIST,
        change=typed(height=STACK),
        hint="stack_height_for_height",
        says="may be that of the mated pair",
    ),
    Scene(
        done="a length read half a millimetre short, shorter than the moulding",
        verdict=Verdict.SHORTLIST,
        change=lambda _: typed(body_length=size("body_length") - 0.5)(specimen()),
    ),
    Scene(
        done="lands half a millimetre outside the recommended ones",
        verdict=Verdict.SHORTLIST,
        change=lambda _: typed(land_span=size("land_span") + 0.5)(specimen()),
    ),
    Scene(
        done="the colour seen in warm light",
        verdict=Verdict.IDENTIFIED,
        change=extra("housing_colour", values=frozenset({"white"})),
    ),
    Scene(
        done="a contact counted twice, and its gap too",
        verdict=Verdict.SHORTLIST,
        change=lambda given: {**counted(contact_count=30 + IN_ROWS)(given), **over(GAPS + 1, GAPS)(given)},
        hint="miscounted",
        says="then there are 30",
    ),
    Scene(
        done="a width typed with the comma one place off",
        verdict=Verdict.SHORTLIST,
        change=lambda _: typed(body_width=10 * size("body_width"))(specimen()),
    ),
    Scene(
        done="the pitch misread by a tenth of a millimetre over the row",
        verdict=Verdict.IDENTIFIED,
        change=typed(pitch=PITCH + 0.1 / SPANS),
    ),
)


def answer_to(scene: Scene) -> tuple[Posterior, tuple[Hint, ...]]:
    """The answer and the hints."""
    given = specimen()
    given |= scene.change(given)
    result = posterior(COLUMNS, model(), list(given.values()))
    return result, hints(result, list(given.values()))


@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.done)
def test_a_scene_at_the_bench(scene: Scene) -> None:
    result, found = answer_to(scene)
    first, verdict = int(result.order[0]), verdict_of(result)
    right = bool(np.any(result.members(first) == TRUE))
    assert right
    assert verdict is scene.verdict
    hinted, said = (found[0].kind, found[0].message) if found else ("", "")
    assert hinted == scene.hint
    assert scene.says in said


def test_there_are_thirty_scenes() -> None:
    assert len(SCENES) >= 30
