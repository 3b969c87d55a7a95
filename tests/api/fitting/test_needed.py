"""What is needed to connect to a half: mates by room, what takes its own place, an extension, and what is refused."""

from __future__ import annotations

import itertools
import json
import random
from types import SimpleNamespace
from typing import Any, cast

import pytest
from starlette.testclient import TestClient
from typer.testing import CliRunner

from api.command_line.cli import app
from api.fitting.equivalents import SAME_LANDS_MM, equivalents, same_lands
from api.fitting.needed import needed
from api.fitting.room import rooms, stack, worst
from api.identification.mates import DOUBTED
from api.schemas.fitting.needed import NeededRequest, Room
from catalog.model.entries import Half, Mating
from catalog.snapshot.snapshot import Snapshot
from matcher.columns.process_tolerance import process_interval
from tests.api.identification.test_mates_in_order import mating
from tests.api.identification.test_required_mate import half

PLUG, MATE = "ouzelby:mossipet-p24", "ouzelby:mossipet-r24"


def asked(**given: Any) -> NeededRequest:
    return NeededRequest.model_validate({"halves": ["A"], **given})


def pair(stack_height: float | None = 1.0, tolerance: float | None = 0.05, **more: Any) -> Mating:
    height = None if stack_height is None else {"value": stack_height, "tolerance": tolerance}
    return Mating.model_validate({"half": "A", "other": "B", "basis": "maker", "stack_height": height, **more})


def part(**dimensions: float) -> Half:
    return half("A", "plug", dimensions={"pitch": 0.4, **dimensions}).half


def height(limits: dict[str, float], added: dict[str, float] | None = None, **of_pair: Any) -> Room:
    (found,) = rooms(part(), part(), pair(**of_pair), asked(gap=limits, added=added or {}))
    return found


@pytest.mark.parametrize(
    ("limits", "added", "fits", "margin"),
    [
        ({"most": 1.1}, {}, "yes", 0.05),
        ({"most": 1.05}, {}, "yes", 0.0),
        ({"most": 1.02}, {}, "tight", -0.03),
        ({"most": 0.99}, {}, "no", -0.06),
        ({"most": 1.1}, {"flex": 0.12}, "no", -0.07),
        ({"most": 1.2}, {"flex": 0.1, "solder": 0.05}, "yes", 0.0),
        ({"least": 0.9}, {}, "yes", 0.05),
        ({"least": 0.98}, {}, "tight", -0.03),
        ({"least": 1.01}, {}, "no", -0.06),
        ({"least": 0.9, "most": 1.1}, {}, "yes", 0.05),
        ({"least": 0.97, "most": 1.03}, {}, "tight", -0.02),
    ],
)
def test_the_gap_is_judged_in_the_worst_case(
    limits: dict[str, float], added: dict[str, float], fits: str, margin: float
) -> None:
    found = height(limits, added)
    assert (found.fits, found.margin) == (fits, pytest.approx(margin))


def test_no_drawn_pair_contradicts_the_verdict() -> None:
    """Pairs drawn within the tolerances: yes means that all go in, no that the nominal one does not."""
    draw = random.Random(3)
    for _ in range(200):
        value, tolerance, most = draw.uniform(0.5, 3), draw.uniform(0.02, 0.3), draw.uniform(0.5, 3.5)
        found = height({"most": most}, {"flex": 0.1}, stack_height=value, tolerance=tolerance)
        centre, reach = process_interval("stack_height", pair(value, tolerance).dimensions["stack_height"].dim, None)
        drawn = [centre + 0.1 + draw.uniform(-reach, reach) for _ in range(50)]
        assert found.fits != "yes" or all(each <= most + 1e-9 for each in drawn)
        assert found.fits != "no" or value + 0.1 > most
        assert found.fits != "tight" or value + 0.1 <= most < centre + 0.1 + reach


def test_what_is_not_stated_is_not_known() -> None:
    assert height({"most": 1.0}, stack_height=None).fits == "unknown"
    found = rooms(part(body_width=2.0), part(), pair(), asked(width_most=3.0, length_most=9.0))
    assert [each.fits for each in found] == ["unknown", "unknown"]


def test_the_larger_half_and_its_largest_size_count() -> None:
    one, other = part(body_width=2.0, tail_span=2.6, body_length=6.0), part(body_width=2.9, body_length=7.0)
    width, length = rooms(one, other, pair(), asked(width_most=3.2, length_most=6.9))
    assert width.taken is not None
    assert (width.taken.nominal, width.fits) == (2.9, "yes")
    assert length.fits == "no"
    (mated,) = rooms(one, other, pair(mated_width={"value": 3.15}), asked(width_most=3.2))
    assert mated.taken is not None
    assert (mated.taken.nominal, mated.fits) == (3.15, "tight")


@pytest.mark.parametrize("order", list(itertools.permutations(("no", "unknown", "tight", "yes"), 2)))
def test_the_worst_direction_counts(order: tuple[str, str]) -> None:
    rank = ("no", "unknown", "tight", "yes")
    both = [Room.model_validate({"direction": "width", "fits": fits, "taken": None, "margin": None}) for fits in order]
    assert worst(tuple(both)) == min(order, key=rank.index)
    assert worst(()) == "yes"


def test_mates_that_go_into_the_room_come_first(snapshot: Snapshot) -> None:
    stacks: dict[str, set[float]] = {}
    for record in snapshot.matings:
        if record.mating.stack_height is not None:
            stacks.setdefault(record.mating.half, set()).add(record.mating.stack_height.value)
    stacked = next(key for key, heights in stacks.items() if len(heights) > 2)
    (free,) = needed(snapshot, NeededRequest(halves=(stacked,))).halves
    heights = sorted({each.mate.stack_height for each in free.mates if each.mate.stack_height})
    (low,) = needed(snapshot, asked(halves=[stacked], gap={"most": heights[0] + 0.4})).halves
    fits = [each.fits for each in low.mates]
    assert fits[0] == "yes"
    assert "no" in fits
    assert fits == sorted(fits, key=("yes", "tight", "unknown", "no").index)


def test_an_extension_takes_both_halves_and_says_how_much_it_raises(snapshot: Snapshot) -> None:
    found = needed(snapshot, asked(halves=[PLUG], need="both", added={"board": 0.8}))
    (only,) = found.halves
    assert only.added_height is not None
    assert only.added_height.nominal == pytest.approx(0.8 + 0.8)
    assert "MOSSIPET-R24 on the side that meets MOSSIPET-P24, and MOSSIPET-P24 once more" in found.advice[0]
    assert needed(snapshot, asked(halves=[PLUG])).halves[0].added_height is None


def test_only_what_fits_every_half_of_a_shortlist_suits_all(snapshot: Snapshot) -> None:
    assert needed(snapshot, asked(halves=[PLUG])).suits_all == (MATE,)
    assert needed(snapshot, asked(halves=[PLUG, "pipitholt:seeplet-p24"])).suits_all == ()
    assert needed(snapshot, asked(halves=[PLUG], gap={"most": 0.3})).suits_all == ()


# --- what can take a half's place --------------------------------------------------------------------------------

LANDS = {"pitch": 0.4, "land_span": 3.0, "land_row_spacing": 2.4}


def world(matings: list[Any], **halves: dict[str, float]) -> Snapshot:
    records = {
        name: half(name, "plug" if name < "M" else "receptacle", dimensions=sizes) for name, sizes in halves.items()
    }
    keys = list(records)
    columns = SimpleNamespace(geometry=list(range(len(keys))), position=keys.index)
    return cast(Snapshot, SimpleNamespace(halves=records, matings=matings, columns=columns))


def relations(snapshot: Snapshot, key: str) -> dict[str, str]:
    return {each.half.part_number: each.relation for each in equivalents(snapshot, snapshot.halves[key])}


def test_the_relation_follows_from_mates_stack_and_lands() -> None:
    other_lands = LANDS | {"land_span": 3.5}
    sizes = {"A": LANDS, "B": LANDS, "C": LANDS, "D": other_lands, "E": LANDS, "F": other_lands, "R": LANDS, "S": LANDS}
    stacks = [("A", "R", 1.0), ("B", "R", 1.0), ("C", "R", 1.5), ("D", "R", 1.0), ("E", "S", 1.0), ("F", "S", 1.0)]
    matings = [mating(this, mate, stack_height={"value": height}) for this, mate, height in stacks]
    assert relations(world(matings, **sizes), "A") == {
        "B": "interchangeable",
        "C": "intermateable",
        "D": "intermateable",
        "E": "intermountable",
    }


@pytest.mark.parametrize(
    "doubt",
    [
        {"basis": "inferred"},
        {"correspondence": "rows_swapped"},
        {"correspondence": "reversed"},
        {"standing": DOUBTED[0]},
    ],
)
def test_a_doubtful_mating_makes_nothing_intermateable(doubt: dict[str, str]) -> None:
    sure, doubtful = (
        mating("A", "R", stack_height={"value": 1.0}),
        mating("B", "R", stack_height={"value": 1.0}, **doubt),
    )
    assert relations(world([sure, doubtful], A=LANDS, B=LANDS, R=LANDS), "A") == {"B": "intermountable"}


def test_lands_are_the_same_up_to_a_tenth_and_unknown_where_too_little_is_stated() -> None:
    def moved(by: float) -> Half:
        return part(**(LANDS | {"land_span": LANDS["land_span"] + by}))

    assert same_lands(part(**LANDS), moved(SAME_LANDS_MM - 1e-6)) is True
    assert same_lands(part(**LANDS), moved(SAME_LANDS_MM + 1e-6)) is False
    assert same_lands(part(**LANDS), part()) is None


# --- what is refused, and that all ways in agree -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"halves": []}, "halves"),
        ({"halves": ["nobody:nothing"]}, "halves[0]"),
        ({"halves": [PLUG], "need": "all"}, "need"),
        ({"halves": [PLUG], "gap": {}}, "gap"),
        ({"halves": [PLUG], "gap": {"least": 2, "most": 1}}, "gap"),
        ({"halves": [PLUG], "gap": {"most": -1}}, "gap.most"),
        ({"halves": [PLUG], "added": {"flex": -0.1}}, "added.flex"),
        ({"halves": [PLUG], "width_most": "wide"}, "width_most"),
    ],
)
def test_bad_input_names_its_field(server: TestClient, body: dict[str, Any], field: str) -> None:
    answer = server.post("/v1/mates", json=body)
    assert answer.status_code == 422
    assert [each["field"] for each in answer.json()["errors"]] == [field]


def test_interface_page_and_command_agree(server: TestClient, demo_url: str) -> None:
    body = {"halves": [PLUG], "gap": {"most": 1.0}, "added": {"flex": 0.12}}
    answered = server.post("/v1/mates", json=body).json()
    page = server.get(f"/halves/{PLUG}/mates", params={"gap.most": "1,0", "added.flex": "0.12"}).text
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "200"})
    options = [PLUG, "--gap", "..1.0", "--added", "flex=0.12"]
    assert json.loads(run.invoke(app, ["mates", *options, "--json"]).output) == answered
    shown = run.invoke(app, ["mates", *options]).output
    assert answered["halves"][0]["mates"][0]["fits"] == "tight"
    for text in (shown, page):
        assert "height: tight, 0.02 mm too much at worst (takes 0.82 to 1.02)" in text
        assert "order MOSSIPET-R24" in text
        assert "donor board" in text


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--gap", "1.0"], "is not a gap"),
        (["--gap", ".."], "is not a gap"),
        (["--added", "flex"], "names no thickness"),
    ],
)
def test_the_command_says_how_to_write_it(demo_url: str, options: list[str], said: str) -> None:
    run = CliRunner(env={"OTHERHALF_DATABASE": demo_url, "COLUMNS": "200"})
    shown = run.invoke(app, ["mates", PLUG, *options])
    assert shown.exit_code != 0
    assert said in shown.output


def test_the_page_takes_a_shortlist(server: TestClient) -> None:
    page = server.get(f"/halves/{PLUG}/mates", params={"half": "pipitholt:seeplet-p24"}).text
    assert "Mates of MOSSIPET-P24" in page
    assert "Mates of SEEPLET-P24" in page
    assert server.get(f"/halves/{PLUG}/mates", params={"half": "nobody:x"}).status_code == 422


def test_the_page_keeps_what_was_typed_beside_the_error(server: TestClient) -> None:
    page = server.get(f"/halves/{PLUG}/mates", params={"gap.most": "x"})
    assert page.status_code == 422
    assert 'value="x"' in page.text
    assert f"/halves/{PLUG}/mates" in server.get(f"/halves/{PLUG}").text


def test_the_stack_of_a_pair_is_the_process_interval_of_the_catalogue() -> None:
    found = stack(pair(1.0, 0.05))
    assert found is not None
    assert (found.nominal, found.least, found.most) == (1.0, 0.95, 1.05)
    assert stack(pair(None)) is None
