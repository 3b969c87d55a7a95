"""The pages that add and change entries: what they refuse, what they keep, and that each act happens once."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.web.contribute import entry_fields
from api.web.contribute.half_form import half_of, half_pairs
from api.web.contribute.mating_form import mating_of
from api.web.contribute.series_form import series_of, series_pairs
from api.web.page.forms import Form
from catalog.history.changes import withdraw
from catalog.model.entries import Half, Series
from matcher.features import CATEGORIES, COUNTS, DIMENSIONS
from tests.api.web.browsed import HOSTILE, Fields, browser, filled, form_with, no_markup_of, problems_of, unchanged
from tests.api.web.page_reading import check_form
from tests.api.workshop import KEEPER, Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, PER, SERIES, WREN, by, confirm
from tests.catalog.model.entry_examples import half, series

NEW: Fields = [
    ("once", "one-form"),
    ("maker", "Siskin Works"),
    ("series", "SK"),
    ("part_number", "SK-90"),
    ("half_kind", "receptacle"),
    ("rows", "2"),
    ("contact_count", "26"),
    ("dimensions.pitch.value", "0.635"),
    ("dimensions.pitch.unit", ""),
    ("unit", "mm"),
    ("do", "save"),
]
ADDED = "/halves/siskin-works:sk-90"
IMPOSSIBLE = [*NEW, ("dimensions.body_length.value", "2")]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with workshop(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as made:
        yield made


def rows(shop: Workshop, **query: str) -> list[dict[str, object]]:
    items: list[dict[str, object]] = shop.server.get("/v1/journal", params={"limit": 500, **query}).json()["items"]
    return items


@pytest.mark.parametrize(
    "path", ["/contribute/half", "/contribute/series", f"/halves/{HALF}/revise", f"/series/{SERIES}/revise"]
)
def test_adding_and_changing_needs_a_session(shop: Workshop, path: str) -> None:
    page = browser(shop).open(path)
    assert page.status_code == 200
    assert f"/sign-in?to={path.replace(':', '%3A')}" in page.text
    assert 'name="do" value="save"' not in page.text
    with unchanged(shop):
        refused = browser(shop).send(path, NEW)
    assert refused.status_code == 401
    assert 'value="SK-90"' in refused.text or "series" in path


def test_a_form_from_another_site_is_refused(shop: Workshop) -> None:
    with unchanged(shop):
        assert browser(shop, IDA).elsewhere("/contribute/half", NEW).status_code in (401, 403)
    assert shop.server.get(f"/v1{ADDED}").status_code == 404


def test_a_form_without_its_origin_is_refused(shop: Workshop) -> None:
    sent = {"Content-Type": "application/x-www-form-urlencoded", "Authorization": f"Bearer {shop.tokens[IDA]}"}
    assert shop.server.post("/contribute/half", headers=sent, content="maker=x").status_code == 403


def test_an_invalid_number_is_reported_at_its_field_and_everything_typed_is_kept(shop: Workshop) -> None:
    sent = filled(NEW, rows="two", dimensions__pitch__value="0,635", note="kept <b>", contact_count="")
    refused = browser(shop, IDA).send("/contribute/half", sent)
    assert refused.status_code == 422
    page = check_form(refused.text)
    assert set(problems_of(refused.text)) == {"rows", "contact_count", "dimensions.pitch.value"}
    assert set(problems_of(refused.text)) <= set(page.ids)
    assert page.values("dimensions.pitch.value") == ["0,635"]
    assert page.values("rows") == ["two"]
    assert "kept &lt;b&gt;" in refused.text


def test_a_numbering_is_saved_whole_or_refused_at_its_fields(shop: Workshop) -> None:
    person = browser(shop, IDA)
    chosen: Fields = [*NEW, ("numbering.scheme", "zigzag"), ("numbering.first", "lower_left")]
    whole = [*chosen, ("numbering.seen_from", "board_side")]
    with unchanged(shop):
        refused = person.send("/contribute/half", [*chosen, ("numbering.seen_from", "")])
    assert problems_of(refused.text) == ["numbering.seen_from"]
    with unchanged(shop):
        refused = person.send("/contribute/half", filled(whole, rows="1"))
    assert problems_of(refused.text)[0].startswith("numbering.")
    assert "umbering zigzag needs two rows, not 1" in refused.text
    assert person.send("/contribute/half", whole).status_code == 303
    stated = shop.server.get(f"/v1{ADDED}").json()["half"]["numbering"]
    assert {name: value for name, value in stated.items() if value} == {
        "scheme": "zigzag",
        "first": "lower_left",
        "seen_from": "board_side",
    }


def test_a_severe_finding_needs_a_reason_entered_beside_it(shop: Workshop) -> None:
    person = browser(shop, IDA)
    with unchanged(shop):
        refused = person.send("/contribute/half", IMPOSSIBLE)
    assert refused.status_code == 409
    assert "acknowledge.contacts-outside" in problems_of(refused.text)
    asked = [name for name, _ in form_with(refused.text, "maker") if name.startswith("acknowledge.")]
    short = [*IMPOSSIBLE, *((name, "ok") for name in asked)]
    with unchanged(shop):
        assert person.send("/contribute/half", short).status_code == 422
    reasons = [*IMPOSSIBLE, *((name, "measured twice on the bench") for name in asked)]
    assert person.send("/contribute/half", reasons).status_code == 303
    assert "measured twice on the bench" in str(rows(shop, record="half", key="siskin-works:sk-90")[0]["reason"])


def test_sending_a_form_repeatedly_adds_the_half_once(shop: Workshop) -> None:
    person = browser(shop, IDA)
    for _ in range(2):
        made = person.send("/contribute/half", NEW)
        assert (made.status_code, made.headers["location"]) == (303, f"{ADDED}?said=added")
    assert len(rows(shop, record="half", key="siskin-works:sk-90")) == 1
    assert "It is now in the catalogue" in person.open(made.headers["location"]).text
    assert "It is now in the catalogue" not in person.open(f"{ADDED}?said=<b>").text


def test_the_idempotency_key_of_a_form_is_refused_for_another_request(shop: Workshop) -> None:
    person = browser(shop, IDA)
    person.send("/contribute/half", NEW)
    refused = person.send("/contribute/half", filled(NEW, part_number="SK-91"))
    assert refused.status_code == 422
    assert "this form was sent before" in refused.text
    again = form_with(refused.text, "maker")
    assert person.send("/contribute/half", filled(again, do="save")).status_code == 303


def test_the_review_is_shown_without_a_session_and_saves_nothing(shop: Workshop) -> None:
    with unchanged(shop):
        part = browser(shop).send("/contribute/half", IMPOSSIBLE, **{"X-Part": "review"})
    assert part.status_code == 200
    assert "<html" not in part.text
    assert part.text.count("<svg") == 2
    assert "span 7.6" in part.text
    assert 'name="acknowledge.contacts-outside"' in part.text
    incomplete = browser(shop).send("/contribute/half", [("maker", "A")], **{"X-Part": "review"})
    assert "Series: not given yet" in incomplete.text


def test_without_script_a_button_shows_the_review(shop: Workshop) -> None:
    page = browser(shop, IDA).send("/contribute/half", filled(IMPOSSIBLE, do="review"))
    assert page.status_code == 200
    check_form(page.text)
    assert "span 7.6" in page.text


def test_values_can_be_entered_in_the_unit_of_the_source(shop: Workshop) -> None:
    sent = filled(NEW, unit="in", dimensions__pitch__value="0.025")
    assert browser(shop, IDA).send("/contribute/half", sent).status_code == 303
    stated = shop.server.get(f"/v1{ADDED}").json()["half"]["dimensions"]["pitch"]
    assert (stated["value"], stated["given"], stated["unit"]) == (0.635, 0.025, "in")


def test_hostile_text_in_every_field_of_a_half_appears_as_text(shop: Workshop) -> None:
    texts = ["maker", "series", "part_number", "markings", "aliases", "order_codes", "note", "datasheet.title"]
    texts += ["datasheet.revision", "datasheet.page", "datasheet.address", "dimensions.pitch.doubt", "reason"]
    sent = [(name, value) for name, value in NEW if name not in texts] + [(name, HOSTILE) for name in texts]
    person = browser(shop, IDA)
    for headers in ({}, {"X-Part": "review"}):
        shown = person.send("/contribute/half", filled(sent, do="review"), **headers)
        assert shown.status_code == 200
        no_markup_of(shown.text)
    made = person.send("/contribute/half", sent)
    assert made.status_code == 303, made.text
    assert made.headers["location"].isascii()
    place = made.headers["location"].partition("?")[0]
    for path in (
        place,
        f"{place}/revise",
        f"{place}/confirm",
        f"{place}/dispute",
        f"{place}/sighting",
        f"{place}/state",
        "/journal",
    ):
        page = person.open(path)
        assert page.status_code == 200, path
        no_markup_of(page.text)


@pytest.mark.parametrize(
    "content",
    [half(), half(dimensions={"pitch": {"value": 0.025, "unit": "in", "tolerance": 0.001, "extra_u": 0.002}})],
)
def test_a_half_is_read_back_unchanged_from_its_form(content: Half) -> None:
    assert Half.model_validate(half_of(Form(pairs=tuple(half_pairs(content))))) == content


def test_a_series_is_read_back_unchanged_from_its_form() -> None:
    content = series()
    assert Series.model_validate(series_of(Form(pairs=tuple(series_pairs(content))))) == content


def test_every_dimension_count_and_category_has_a_field_in_the_form() -> None:
    assert sorted(name for names in entry_fields.VIEWS.values() for name in names) == sorted(DIMENSIONS)
    assert {*entry_fields.ENTRY_COUNTS, "contact_count", "rows"} == set(COUNTS)
    assert {*entry_fields.ENTRY_CATEGORIES, "half_kind"} == set(CATEGORIES)


@pytest.mark.parametrize("path", [f"/halves/{HALF}/revise", f"/series/{SERIES}/revise"])
def test_sending_an_unchanged_form_changes_nothing(shop: Workshop, path: str) -> None:
    person = browser(shop, IDA)
    entry = f"/v1{path.removesuffix('/revise')}"
    record = "half" if "halves" in path else "series"
    before = shop.server.get(entry).json()[record]
    fields = filled(form_with(person.open(path).text, "maker"), do="save")
    sent = person.send(path, fields)
    assert sent.status_code == 303, problems_of(sent.text)
    assert shop.server.get(entry).json()[record] == before


def test_a_stale_form_is_refused_with_the_changes_and_keeps_what_was_typed(shop: Workshop) -> None:
    ida, wren = browser(shop, IDA), browser(shop, WREN)
    path = f"/halves/{HALF}/revise"
    mine = form_with(ida.open(path).text, "maker")
    theirs = filled(
        form_with(wren.open(path).text, "maker"), do="save", dimensions__body_length__value="7.6", reason="worn die"
    )
    assert wren.send(path, theirs).status_code == 303
    with unchanged(shop):
        refused = ida.send(path, filled(mine, do="save", dimensions__body_length__value="7.8"))
    assert refused.status_code == 412
    page = check_form(refused.text)
    assert "body length 7.4 → 7.6" in page.text
    assert "worn die" in page.text
    assert page.values("dimensions.body_length.value") == ["7.8"]
    again = ida.send(path, filled(form_with(refused.text, "maker"), do="save"))
    assert again.status_code == 303
    assert shop.server.get(f"/v1/halves/{HALF}").json()["half"]["dimensions"]["body_length"]["value"] == 7.8


def test_a_form_refused_for_another_reason_still_shows_the_changes(shop: Workshop) -> None:
    ida, wren = browser(shop, IDA), browser(shop, WREN)
    path = f"/halves/{HALF}/state"
    mine = form_with(ida.open(path).text, "withdraw.reason")
    theirs = form_with(wren.open(f"/halves/{HALF}/revise").text, "maker")
    changed = filled(theirs, do="save", dimensions__body_length__value="7.6", reason="worn die")
    assert wren.send(f"/halves/{HALF}/revise", changed).status_code == 303
    empty = ida.send(path, filled(mine, do="withdraw"))
    assert empty.status_code == 422
    with unchanged(shop):
        again = filled(form_with(empty.text, "withdraw.reason"), do="withdraw", withdraw__reason="never made")
        refused = ida.send(path, again)
    assert refused.status_code == 412
    assert "body length 7.4 → 7.6" in check_form(refused.text).text


def test_new_values_of_a_confirmed_half_wait_and_the_page_shows_until_when(shop: Workshop) -> None:
    with shop.catalogue.writing() as session:
        confirm(session, half(), IDA, PER)
    person = browser(shop, IDA)
    path = f"/halves/{HALF}/revise"
    fields = filled(form_with(person.open(path).text, "maker"), do="save", dimensions__body_length__value="7.9")
    sent = person.send(path, fields)
    assert (sent.status_code, sent.headers["location"]) == (303, f"/halves/{HALF}?said=waits")
    assert "Pending: change of values" in person.open(path).text
    assert shop.server.get(f"/v1/halves/{HALF}").json()["half"]["dimensions"]["body_length"]["value"] == 7.4


def test_rows_can_be_added_to_the_form_with_and_without_script(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = filled(form_with(person.open("/contribute/series").text, "name"), name="typed")
    whole = person.send("/contribute/series", [*fields, ("row", "kinds.0.laws")])
    check_form(whole.text)
    part = person.send("/contribute/series", [*fields, ("row", "kinds.0.laws")], **{"X-Part": "fields"})
    assert "<html" not in part.text
    for answer in (whole, part):
        assert 'name="kinds.0.laws.6.feature"' in answer.text
        assert 'value="typed"' in answer.text
    assert 'name="kinds.1.part_number"' in person.send("/contribute/series", [*fields, ("row", "kinds")]).text


@pytest.mark.parametrize("group", ["kinds.0.laws.99999999", "x" * 500, "kinds.0.laws.-1", "once"])
def test_an_unknown_group_of_rows_is_ignored(shop: Workshop, group: str) -> None:
    assert browser(shop, IDA).send("/contribute/series", [("name", "x"), ("row", group)]).status_code == 200


TABLE = [
    ("maker", "Siskin Works"),
    ("name", "SW9"),
    ("table.text", "contacts | A ±0.1 | B | P\n20 | 6.5 | 2.4 | 0.5\n30 | 9.0 | 2.4 | 0.5\n40 | 11.5 | 2.4 | 0.5"),
    ("table.letters", "A = body length\nB = body_width\nP = pitch"),
    ("table.half_kind", "plug"),
    ("table.part_number", "SW9P-{contacts:3}"),
    ("table.rows", "2"),
    ("do", "table"),
]


def test_a_drawings_table_becomes_laws_in_the_form_and_then_a_series(shop: Workshop) -> None:
    person = browser(shop, IDA)
    read = person.send("/contribute/series", TABLE)
    assert read.status_code == 200, problems_of(read.text)
    fields = form_with(read.text, "table.text")
    assert {
        ("kinds.0.laws.0.intercept", "1.5"),
        ("kinds.0.laws.0.slope", "0.5"),
        ("kinds.0.contact_counts", "20 30 40"),
    } <= set(fields)
    made = person.send("/contribute/series", filled(fields, do="save"))
    assert made.status_code == 303, problems_of(made.text)
    assert shop.server.get("/v1/halves/siskin-works:sw9p-030").status_code == 200


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"table__text": "contacts | A\n20 | 6.5\n30 | 9.0\n40 | 12.5"}, "table.text"),
        ({"table__letters": "A body length"}, "table.letters"),
        ({"table__rows": ""}, "table.rows"),
        ({"table__half_kind": ""}, "table.half_kind"),
        ({"maker": ""}, "maker"),
    ],
)
def test_the_error_about_an_unreadable_table_gives_the_position_and_keeps_the_text(
    shop: Workshop, wrong: dict[str, str], field: str
) -> None:
    refused = browser(shop, IDA).send("/contribute/series", filled(TABLE, **wrong))
    assert refused.status_code == 422
    assert field in problems_of(refused.text)
    assert "table.letters" in dict(form_with(refused.text, "table.text"))


def test_a_law_for_an_unknown_class_or_a_repeated_law_is_reported_at_its_row(shop: Workshop) -> None:
    person = browser(shop, IDA)
    base = [
        ("maker", "M"),
        ("name", "N"),
        ("kinds.0.part_number", "P{contacts}"),
        ("kinds.0.rows", "2"),
        ("do", "save"),
    ]
    law = [("kinds.0.laws.0.feature", "pitch"), ("kinds.0.laws.0.intercept", "0.5"), ("kinds.0.laws.0.class", "Z")]
    assert "kinds.0.laws.0.class" in problems_of(person.send("/contribute/series", [*base, *law]).text)
    twice = [("kinds.0.laws.1.feature", "pitch"), ("kinds.0.laws.1.intercept", "0.4"), ("kinds.0.laws.1.class", "Z")]
    assert "kinds.0.laws.1.feature" in problems_of(person.send("/contribute/series", [*base, *law, *twice]).text)


def test_every_page_of_contributing_has_valid_markup_for_every_reader(shop: Workshop) -> None:
    for path in ("/contribute", "/contribute/half", "/contribute/series", f"/halves/{HALF}/revise", STATE):
        for who in (None, IDA, KEEPER):
            check_form(browser(shop, who).open(path).text)


def test_a_missing_entry_has_no_form(shop: Workshop) -> None:
    for tail in ("revise", "state", "confirm", "dispute", "sighting"):
        assert browser(shop, IDA).open(f"/halves/nobody:none/{tail}").status_code == 404


STATE = f"/halves/{HALF}/state"


@pytest.mark.parametrize("action", ["withdraw", "merge"])
def test_a_change_of_a_whole_entry_needs_a_reason(shop: Workshop, action: str) -> None:
    person = browser(shop, IDA)
    fields = filled(
        form_with(person.open(STATE).text, "do", "withdraw"), do=action, merge__into="dunnock-sons:dn40r-010"
    )
    with unchanged(shop):
        refused = person.send(STATE, fields)
    assert refused.status_code == 422
    assert f"{action}.reason" in problems_of(refused.text)


def test_withdrawing_waits_restoring_works_and_a_stale_etag_is_refused(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = filled(form_with(person.open(STATE).text, "do", "withdraw"), do="withdraw", withdraw__reason="never made")
    sent = person.send(STATE, fields)
    assert sent.headers["location"] == f"/halves/{HALF}?said=waits"
    assert "never made" in person.open(STATE).text
    with unchanged(shop):
        stale = person.send(STATE, filled(fields, once="another", withdraw__reason="once more"))
    assert stale.status_code == 412
    assert "once more" in stale.text
    with shop.catalogue.writing() as session:
        withdraw(session, by(KEEPER, "for a test"), "half", HALF)
    page = person.open(STATE).text
    back = person.send(STATE, filled(form_with(page, "do", "restore"), do="restore", restore__reason="it was made"))
    assert back.headers["location"] == f"/halves/{HALF}?said=changed"
    assert shop.server.get(f"/v1/halves/{HALF}").json()["state"] == "listed"


def test_reverting_needs_a_revision_and_a_reason(shop: Workshop) -> None:
    person = browser(shop, IDA)
    path = f"/halves/{HALF}/revise"
    changed = filled(form_with(person.open(path).text, "maker"), do="save", dimensions__body_length__value="7.6")
    assert person.send(path, changed).status_code == 303
    fields = form_with(person.open(STATE).text, "do", "revert")
    with unchanged(shop):
        assert "revert.revision" in problems_of(person.send(STATE, filled(fields, do="revert")).text)
        refused = person.send(STATE, filled(fields, do="revert", revert__revision="1"))
    assert "revert.reason" in problems_of(refused.text)
    sent = person.send(STATE, filled(fields, do="revert", revert__revision="1", revert__reason="read again"))
    assert sent.headers["location"] == f"/halves/{HALF}?said=changed"
    assert shop.server.get(f"/v1/halves/{HALF}").json()["half"]["dimensions"]["body_length"]["value"] == 7.4


def test_hostile_text_in_a_series_appears_as_text_in_its_form_and_review(shop: Workshop) -> None:
    person = browser(shop, IDA)
    fields = form_with(person.open(f"/series/{SERIES}/revise").text, "name")
    numbers = re.compile(
        r"once|tag|do|rows|contact_counts|intercept|slope|tolerance|value|share|feature|kind|bound|unit"
    )
    sent = [(name, value if numbers.search(name) else HOSTILE) for name, value in fields]
    for headers in ({}, {"X-Part": "review"}):
        shown = person.send("/contribute/series", [*sent, ("do", "review")], **headers)
        assert shown.status_code == 200
        assert "<script>alert" not in shown.text
        assert "<img src=x" not in shown.text


def test_the_review_of_a_series_lists_the_halves_that_its_laws_make(shop: Workshop) -> None:
    fields = form_with(browser(shop, IDA).open(f"/series/{SERIES}/revise").text, "name")
    part = browser(shop).send(f"/series/{SERIES}/revise", fields, **{"X-Part": "review"})
    assert "9 halves and 6 matings follow from it" in part.text
    assert part.text.count('<th scope="row">') == 9


# --- matings -----------------------------------------------------------------------------------------------------

PAIR: Fields = [
    ("once", "one-mating"),
    ("half", HALF),
    ("other", "dunnock-sons:dn40r-010"),
    ("basis", "trial_fit"),
    ("correspondence", "unknown"),
    ("stack_height.value", "1.3"),
    ("unit", "mm"),
    ("do", "save"),
]


def test_a_mating_that_was_found_out_is_added_and_shown_with_its_half(shop: Workshop) -> None:
    sent = filled(PAIR, acknowledge__unlike_contacts="both were fitted on the bench")
    sent = [(name.replace("unlike_contacts", "unlike-contacts"), value) for name, value in sent]
    answer = browser(shop, IDA).send("/contribute/mating", sent)
    assert answer.status_code == 303, answer.text
    assert answer.headers["location"].endswith("?said=added#mates")
    (made,) = [row for row in rows(shop, record="mating") if row["actor"] == IDA]
    key = str(made["key"])
    stored = shop.server.get(f"/v1/matings/{key}").json()["mating"]
    assert (stored["basis"], stored["correspondence"], stored["stack_height"]["value"]) == ("trial_fit", "unknown", 1.3)


def test_its_form_is_filled_from_the_address(shop: Workshop) -> None:
    page = browser(shop, IDA).open(f"/contribute/mating?half={HALF}&other=x:y")
    assert f'value="{HALF}"' in page.text
    assert 'value="x:y"' in page.text
    assert 'value="unknown" selected' in page.text


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"other": "nobody:nothing"}, "nobody:nothing"),
        ({"other": ""}, "not given"),
        ({"correspondence": "listed"}, "contact_map is required"),
        ({"contact_map": "1 10"}, "not allowed for any other"),
        ({"stack_height__value": "high"}, "number"),
    ],
)
def test_a_mating_that_cannot_be_is_refused_and_kept(shop: Workshop, changed: dict[str, str], said: str) -> None:
    with unchanged(shop):
        refused = browser(shop, IDA).send("/contribute/mating", filled(PAIR, **changed))
    assert refused.status_code == 422
    assert said in refused.text
    assert f'value="{HALF}"' in refused.text


def test_contacts_are_read_pair_by_pair() -> None:
    typed = Form(pairs=(*PAIR, ("correspondence", "listed"), ("contact_map", "1 10\n2 = 9\nA1→B1")))
    assert mating_of(typed)["contact_map"] == [["1", "10"], ["2", "9"], ["A1", "B1"]]


def test_nobody_adds_a_mating_without_signing_in(shop: Workshop) -> None:
    with unchanged(shop):
        assert browser(shop).send("/contribute/mating", PAIR).status_code == 401
