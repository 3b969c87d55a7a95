"""Pages of halves and series: what they show in each state, and that contributed text appears as text."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import unquote

import pytest
from starlette.testclient import TestClient

from api.service.access import SESSION_COOKIE
from api.web.entries.half_facts import SHOWN_MATES
from catalog.contribute import submission
from catalog.evidence.statements import Answer, Confirmation, Dispute, Sighting
from catalog.history.acts import Act
from catalog.history.addition import add
from catalog.history.changes import merge, revise, withdraw
from catalog.model.entries import Half, Mating
from catalog.model.entry_parts import Dimension
from catalog.records.queries import get_half
from catalog.snapshot.snapshot import Snapshot
from tests.api.web.page_reading import HTML, check_form
from tests.api.workshop import Workshop, workshop
from tests.catalog.history.changed_entries import HALF, IDA, MATE, MEMBER, PER, SERIES, WREN
from tests.catalog.model.entry_examples import half

HOSTILE = '<script>alert("x")</script>&"\'<b>'
ESCAPED = "&lt;script&gt;alert("


@pytest.fixture
def shop(empty_url: str) -> Iterator[Workshop]:
    """A workshop for this file."""
    with workshop(empty_url) as made:
        yield made


def act(who: str, reason: str = "") -> Act:
    """A change made by one of the people."""
    return Act(actor=who, reason=reason)


def seen(shop: Workshop, address: str, status: int = 200) -> str:
    """A page as one person sees it."""
    answer = shop.server.get(address, headers=HTML)
    assert answer.status_code == status, answer.text
    return answer.text


def revised(shop: Workshop, **changes: object) -> None:
    """Revise the half."""
    with shop.catalogue.writing() as session:
        entry = get_half(session, HALF).half
        after = Half.model_validate({**entry.model_dump(mode="json"), **changes})
        revise(session, act(WREN, "the drawing says so"), HALF, after, clean=True)


def measured(shop: Workshop, who: str, revision: int, *values: dict[str, object]) -> None:
    """Confirm the half by a measurement."""
    said = Confirmation.model_validate(
        {"of": "half", "key": HALF, "revision": revision, "basis": "measured", "values": values}
    )
    with shop.catalogue.writing() as session:
        submission.confirm(session, act(who), said, {})


def test_a_half_shows_its_drawing_figures_mates_standing_and_history(shop: Workshop) -> None:
    page = check_form(seen(shop, f"/halves/{HALF}"))
    assert "SK-7/13" in page.text
    assert '<svg xmlns="http://www.w3.org/2000/svg" class="drawing top"' in page.html
    assert '<svg xmlns="http://www.w3.org/2000/svg" class="drawing mated"' in page.html
    for words in ("7.40 ± 0.15", "outline may include tabs", "at most 1.00", "Contact by contact, as listed here"):
        assert words in page.text
    assert "1 → 10, 2 → 9" in page.text
    assert "by a trial fit" in page.text
    assert "revision 1" in page.text


def test_a_contact_list_is_reversed_on_the_page_of_the_other_half(shop: Workshop) -> None:
    assert "10 → 1, 9 → 2" in check_form(seen(shop, f"/halves/{MEMBER}")).text


def test_a_missing_tolerance_shows_the_assumed_default(shop: Workshop) -> None:
    """0.05 mm for a pitch over one gap: `matcher.columns.process_tolerance`, common practice, no source."""
    text = check_form(seen(shop, f"/halves/{HALF}")).text
    assert "no tolerance stated; parts are taken to lie within ± 0.05 (process tolerance)" in text
    assert "parts are taken to lie at 0.80 to 1.00 (process tolerance)" in text  # a maximum is the upper end of ± 0.10


def test_a_value_in_inches_is_shown_beside_its_millimetres(shop: Workshop) -> None:
    revised(shop, dimensions={"body_length": {"value": 0.157, "unit": "in", "tolerance": 0.004}})
    text = check_form(seen(shop, f"/halves/{HALF}")).text
    assert "3.9878 ± 0.1016" in text  # 0.157 × 25.4 exactly
    assert "the source says 0.157 ± 0.004 in" in text


def test_measured_values_are_shown_beside_stated_values_with_the_one_in_use(shop: Workshop) -> None:
    for who in (IDA, PER):
        measured(shop, who, 1, {"feature": "body_length", "value": 7.42, "u": 0.01})
    page = check_form(seen(shop, f"/halves/{HALF}"))
    assert "by 2 people" in page.text
    assert "fits" in page.text
    assert f"{IDA} 7.420 ± 0.020: fits" in page.text
    assert page.html.count('<span class="mark">in use</span>') == 2  # the sentence above the table, and the one row
    assert "confirmed" in page.text
    assert f"Measured in agreement by {IDA} and {PER}." in page.text


def test_a_contradicting_measurement_disputes_the_half_and_is_shown(shop: Workshop) -> None:
    measured(shop, IDA, 1, {"feature": "body_length", "value": 8.4, "u": 0.01})
    page = check_form(seen(shop, f"/halves/{HALF}"))
    assert 'class="stamp disputed"' in page.html
    assert "times what the tolerance and the measurement allow" in page.text


def test_a_dispute_its_answer_and_a_sighting_are_shown(shop: Workshop) -> None:
    with shop.catalogue.writing() as session:
        opened = submission.dispute(
            session, act(IDA), Dispute(of="half", key=HALF, revision=1, feature="height", reason="mine is lower")
        )
        submission.sight(session, act(PER), Sighting(half=HALF, device="Dawn recorder", board="main board"))
    with shop.catalogue.writing() as session:
        submission.answer(session, act(WREN), Answer(dispute=opened.key, text="with or without the cap?"))
    text = check_form(seen(shop, f"/halves/{HALF}")).text
    for words in ("Height is disputed by Ida Finch", "mine is lower", "with or without the cap?", "Dawn recorder"):
        assert words in text


def test_documents_that_differ_are_shown_side_by_side(shop: Workshop) -> None:
    citation = {"title": "reseller leaflet", "revision": "2", "page": "1"}
    said = Confirmation.model_validate(
        {
            "of": "half",
            "key": HALF,
            "revision": 1,
            "basis": "document",
            "citation": citation,
            "stated": {"body_length": {"value": 7.9}},
        }
    )
    with shop.catalogue.writing() as session:
        submission.confirm(session, act(IDA), said, {})
    text = check_form(seen(shop, f"/halves/{HALF}")).text
    assert "Documents differ about the body length" in text
    assert "reseller leaflet, revision 2, page 1" in text
    assert "7.90 mm" in text


def test_hostile_text_in_every_field_of_a_half_appears_as_text(shop: Workshop) -> None:
    citation = {"title": HOSTILE, "revision": HOSTILE, "page": HOSTILE, "address": "javascript:alert(1)"}
    entry = half(
        maker=f"M{HOSTILE}",
        series=f"S{HOSTILE}",
        part_number=f"P{HOSTILE}",
        markings=[HOSTILE],
        aliases=[HOSTILE],
        order_codes=[HOSTILE],
        note=HOSTILE,
        datasheet=citation,
        dimensions={"body_length": {"value": 7.4, "doubt": HOSTILE, "extra_u": 0.01}},
    )
    with shop.catalogue.writing() as session:
        add(session, [entry], act(WREN, HOSTILE))
        submission.sight(session, act(IDA), Sighting(half=entry.key, device=HOSTILE, board=HOSTILE, note=HOSTILE))
        submission.dispute(session, act(IDA), Dispute(of="half", key=entry.key, revision=1, reason=HOSTILE))
    html = seen(shop, f"/halves/{entry.key}")
    page = check_form(html)
    assert "<script>" not in html
    assert "<b>" not in html
    assert ESCAPED in html
    assert "javascript:" not in "".join(page.links())
    check_form(seen(shop, f"/series/{entry.series_key}"))
    assert "<script>" not in seen(shop, f"/series/{entry.series_key}")


def test_an_unknown_half_is_a_404_with_similar_halves(shop: Workshop) -> None:
    page = check_form(seen(shop, "/halves/siskin-works:sk-7-31", status=404))
    assert f"/halves/{HALF}" in page.links()


def test_a_hostile_unknown_key_appears_as_text(shop: Workshop) -> None:
    html = seen(shop, "/halves/%3Cscript%3Ealert(1)%3C%2Fscript%3E".replace("%2F", ""), status=404)
    assert "<script>alert" not in html
    check_form(html)


def test_the_page_of_a_withdrawn_half_says_that_it_is_withdrawn(shop: Workshop) -> None:
    with shop.catalogue.writing() as session:
        withdraw(session, act(WREN, "made up"), "half", HALF)
    page = check_form(seen(shop, f"/halves/{HALF}"))
    assert "This entry was withdrawn." in page.text
    assert "made up" in page.text
    assert 'class="stamp withdrawn"' in page.html


def test_the_page_of_a_merged_half_links_to_its_successor(shop: Workshop) -> None:
    with shop.catalogue.writing() as session:
        merge(session, act(WREN), HALF, MATE)
    page = check_form(seen(shop, f"/halves/{HALF}"))
    assert "This entry was merged." in page.text
    assert f"/halves/{MATE}" in page.links()


def test_the_page_of_an_inferred_half_says_that_it_is_inferred(server: TestClient, snapshot: Snapshot) -> None:
    record = next(each for each in snapshot.halves.values() if each.origin == "inferred")
    answer = server.get(f"/halves/{record.key}", headers=HTML)
    assert answer.status_code == 200
    page = check_form(answer.text)
    assert "This half is not listed." in page.text
    assert not any(link.endswith(("/confirm", "/dispute", "/revise")) for link in page.links())


def test_a_half_with_sixty_mates_shows_the_best_supported_and_a_link_to_all(shop: Workshop) -> None:
    others = [
        half(part_number=f"SK-M{n:02}", half_kind="plug", row_contacts=[7, 6], dimensions={"pitch": {"value": 0.635}})
        for n in range(60)
    ]
    pairs = [
        Mating(
            half=HALF,
            other=each.key,
            basis="maker",
            correspondence="identity",
            stack_height=Dimension(value=1.0 + n / 100),
        )
        for n, each in enumerate(others)
    ]
    with shop.catalogue.writing() as session:
        add(session, [*others, *pairs], act(WREN))
    some = check_form(seen(shop, f"/halves/{HALF}"))
    assert "All 61 mates" in some.text
    assert (
        some.text.count("its maker says so") == SHOWN_MATES
    )  # the one known by trial fit, with other wiring, comes after them
    every = seen(shop, f"/halves/{HALF}?mates=all")
    assert all(f"SK-M{n:02}" in every for n in range(60))
    assert len(every.encode()) < 150_000


def test_a_mate_that_swaps_rows_says_so_beside_its_name_and_stands_below_a_straight_one(
    server: TestClient, snapshot: Snapshot
) -> None:
    swapped = {
        record.mating.half: record.mating.other
        for record in snapshot.matings
        if record.mating.correspondence == "rows_swapped"
    }
    for key, other in list(swapped.items())[:3]:
        page = server.get(f"/halves/{key}?mates=all", headers=HTML).text
        table = page[page.index('class="mates stack"') :]
        assert "<strong>rows swapped</strong>" in table
        part = snapshot.halves[other].half.part_number
        straight = table.find("<strong>one to one</strong>")
        assert straight < table.index(f">{part}</a>")


def test_the_chosen_mate_is_drawn(server: TestClient, snapshot: Snapshot) -> None:
    counts: dict[str, list[str]] = {}
    for mating in snapshot.matings:
        counts.setdefault(mating.mating.half, []).append(mating.id)
    key, (_, second, *_) = next(each for each in counts.items() if len(each[1]) > 1)
    other = next(m.mating.other for m in snapshot.matings if m.id == second)
    html = server.get(f"/halves/{key}", params={"mate": second}, headers=HTML).text
    assert f"Mated with {snapshot.halves[other].half.part_number}" in check_form(html).text


def test_contributors_see_links_to_forms_and_others_a_link_to_sign_in(shop: Workshop) -> None:
    links = check_form(seen(shop, f"/halves/{HALF}")).links()
    assert f"/sign-in?to=/halves/{HALF}/confirm" in [unquote(link) for link in links]
    shop.server.cookies.set(SESSION_COOKIE, shop.tokens[IDA])
    links = check_form(seen(shop, f"/halves/{HALF}")).links()
    for doing in ("confirm", "dispute", "sighting", "revise"):
        assert f"/halves/{HALF}/{doing}" in links


def test_the_link_to_identify_opens_a_bench_with_these_values(server: TestClient, snapshot: Snapshot) -> None:
    record = next(each for each in snapshot.halves.values() if "body_length" in each.half.dimensions)
    page = check_form(server.get(f"/halves/{record.key}", headers=HTML).text)
    (bench,) = [link for link in page.links() if link.startswith("/?")]
    assert f"body_length={record.half.dimensions['body_length'].value:g}" in bench
    assert server.get(bench, headers=HTML).status_code == 200


def test_a_page_is_not_sent_again_until_the_catalogue_changes(shop: Workshop) -> None:
    for address in (f"/halves/{HALF}", f"/series/{SERIES}", "/catalogue"):
        first = shop.server.get(address, headers=HTML)
        tag = first.headers["etag"]
        again = shop.server.get(address, headers={**HTML, "If-None-Match": tag})
        assert again.status_code == 304
        assert again.headers["content-security-policy"] == first.headers["content-security-policy"]
    with shop.catalogue.writing() as session:
        submission.sight(session, act(IDA), Sighting(half=HALF, device="Owl counter"))
    moved = shop.server.get("/catalogue", headers={**HTML, "If-None-Match": tag})
    assert moved.status_code == 200


def test_a_page_cached_for_one_person_is_rendered_again_for_another(shop: Workshop) -> None:
    tag = shop.server.get(f"/halves/{HALF}", headers=HTML).headers["etag"]
    shop.server.cookies.set(SESSION_COOKIE, shop.tokens[IDA])
    answer = shop.server.get(f"/halves/{HALF}", headers={**HTML, "If-None-Match": tag})
    assert answer.status_code == 200
    assert "Cookie" in answer.headers["vary"]


def test_a_series_shows_variants_laws_stack_heights_and_inferred_halves(shop: Workshop) -> None:
    page = check_form(seen(shop, f"/series/{SERIES}"))
    for words in (
        "1.80 mm plus 0.40 mm per contact of a row, drawing tolerance ± 0.10 mm",
        "at most 1.90 mm at every size",
        "0.80 mm, 3 sizes",  # 0.3 + 0.5
        "1.30 mm, 3 sizes",  # 0.8 + 0.5
        "Plug, class B",
    ):
        assert words in page.text, words
    assert f"/halves/{MEMBER}" in page.links()
    assert 'class="likely"' in page.html
    assert "stated by the source" in page.text.lower()


def test_a_law_is_plotted_with_filled_points_for_listed_and_hollow_for_inferred_members(shop: Workshop) -> None:
    html = seen(shop, f"/series/{SERIES}")
    assert 'class="listed plug"' in html
    assert 'class="inferred plug"' in html
    assert 'class="law-line receptacle"' in html
    assert 'class="measured"' not in html


def test_a_measured_member_is_plotted_beside_its_stated_value(shop: Workshop) -> None:
    said = Confirmation.model_validate(
        {
            "of": "half",
            "key": MEMBER,
            "revision": 1,
            "basis": "measured",
            "values": [{"feature": "body_length", "value": 3.85, "u": 0.02}],
        }
    )
    with shop.catalogue.writing() as session:
        submission.confirm(session, act(IDA), said, {})
    assert 'class="measured plug"' in seen(shop, f"/series/{SERIES}")


def test_the_page_of_an_undescribed_series_says_so(shop: Workshop) -> None:
    page = check_form(seen(shop, "/series/siskin-works:sk"))
    assert "This series is not described." in page.text
    assert "Too few sizes are listed to find a law" in page.text


def test_an_unknown_series_is_a_404_with_similar_series(shop: Workshop) -> None:
    page = check_form(seen(shop, "/series/dunnock-sons:dn41", status=404))
    assert f"/series/{SERIES}" in page.links()


def test_every_series_of_the_demo_has_a_page_with_valid_markup(server: TestClient, snapshot: Snapshot) -> None:
    for key in {record.series_key for record in snapshot.halves.values()}:
        check_form(server.get(f"/series/{key}", headers=HTML).text)
        check_form(server.get(f"/series/{key}?sizes=all", headers=HTML).text)


def test_the_page_of_an_inferred_half_shows_halves_of_its_size_and_the_opposite_kind(shop: Workshop) -> None:
    page = check_form(seen(shop, "/halves/dunnock-sons:dn40pa-030"))
    assert "This half is not listed." in page.text
    assert "/halves/dunnock-sons:dn40r-030" in page.links()
    assert "It is not known that they mate." in page.text


def test_the_numbering_is_told_and_where_it_is_not_stated_what_to_do(shop: Workshop) -> None:
    revised(shop, numbering=None)
    assert "not stated: find contact 1 by its mark on the board and check by continuity" in seen(
        shop, f"/halves/{HALF}"
    )
    stated = {"scheme": "around", "first": "lower_left", "seen_from": "mating_face", "blocked": "skipped"}
    revised(shop, numbering=stated, row_contacts=[], contact_count=14)
    page = seen(shop, f"/halves/{HALF}")
    assert "contact 1 at the lower left, counter-clockwise, seen from the mating face" in page
    assert "the arrowhead points at contact 1" in page
    assert "numbering" in page[page.index('id="history"') :]
