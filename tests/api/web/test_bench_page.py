"""The bench page: its fields, its answers, and that anything typed is only ever text."""

from __future__ import annotations

import re
import shlex
from html.parser import HTMLParser
from importlib.resources import files
from urllib.parse import parse_qsl, quote, urlencode

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from api.app import create_app
from api.identification.answering import answer, ranking_of
from api.observations.short_form import ShortFormError, canonical_name, parse_pieces
from api.schemas.requests import IdentifyRequest
from api.service.settings import Settings
from api.web.bench.answer_view import allowance
from api.web.bench.fields import SHOWN
from api.web.bench.parameters import query_of, tidy
from api.web.bench.request import Bench, read, sentences
from api.web.bench.sheets import (
    ABOVE,
    ABOVE_HEIGHT,
    CONTACTS,
    END_HEIGHT,
    FROM_END,
    HOLD_DOWNS,
    ROWS,
    drawable,
    from_above,
    gap_ends,
)
from catalog.snapshot.snapshot import Snapshot
from matcher.features import FEATURES, Kind

SPECIMEN = (
    "contact_count=24&rows=2&half_kind=plug&pitch=4.4,4.37,4.4/11&body_length=6.63&body_width=1.99&tail_span=2.18"
)
"""Readings of the demo specimen 'loose-plug', a plug that the demo catalogue lists."""

MISCOUNTED = "contact_count=28&pitch=4.41/11&body_length=6.63&body_width=1.99&half_kind=plug"
"""The same plug with its four hold-downs counted as contacts."""

HOSTILE = "\"><script>alert(1)</script><img src=x onerror=alert(2)>'{{7*7}}"

LARGEST_PAGE = 150_000
"""Largest size of every page, bytes: our own choice, no source."""


class Page(HTMLParser):
    """A parsed page: every element with its attributes, and all text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data

    def named(self, tag: str) -> list[dict[str, str | None]]:
        """Attributes of every element of this name."""
        return [attributes for name, attributes in self.elements if name == tag]

    def values(self) -> dict[str, list[str]]:
        """The values of the fields, by name."""
        found: dict[str, list[str]] = {}
        for field in self.named("input"):
            if field.get("name") and ("checked" in field or field.get("type") != "checkbox"):
                found.setdefault(str(field["name"]), []).append(field.get("value") or "")
        return found


def part(server: TestClient, query: str, name: str) -> str:
    """One part of the bench."""
    answered = server.get(f"/?{query}", headers={"X-Part": name})
    assert answered.status_code == 200
    assert answered.headers["Vary"] == "X-Part"
    return answered.text


def piece(text: str, name: str) -> str:
    """The named element of a part, up to the next such element."""
    start = text.index(f'<div data-piece="{name}"')
    return text[start : text.index("\n</div>", start)]


def sample(name: str) -> str:
    """A possible observation of the feature."""
    feature = FEATURES[name]
    if feature.kind is Kind.DIMENSION:
        return f"{(feature.low * feature.high) ** 0.5:.3f}"
    if feature.kind is Kind.COUNT:
        return str(max(int(feature.low), 2))
    return {"marking": "A7", "trial_fit": "not:ouzelby:mossipet-r24"}.get(name) or next(iter(feature.values))


def test_an_empty_bench_explains_the_first_step(server: TestClient) -> None:
    page = server.get("/")
    assert page.status_code == 200
    assert "Count the contacts" in page.text
    assert "gaps, not contacts" in page.text
    assert 'class="rows"' not in page.text
    for name in ("contact_count", "pitch"):
        assert re.search(rf'class="dim [^"]*next" data-name="{name}"', page.text)


def test_triage_is_one_line_above_the_drawing(server: TestClient) -> None:
    for page in (server.get("/").text, server.get("/?contact_count=24").text):
        assert (
            page.index('<details class="triage">')
            < page.index("Is it the right kind?")
            < page.index('class="sheet above"')
        )


@pytest.mark.parametrize("name", FEATURES)
def test_every_feature_can_be_entered_without_script(server: TestClient, name: str) -> None:
    sent = server.get("/", params={name: sample(name), "rows": "2", "body_length": ""} | {name: sample(name)})
    assert sent.status_code == 200
    page = Page(sent.text)
    assert page.values()[name] == [sample(name)]
    assert "Not read yet" not in page.text
    assert "not in this catalogue" in page.text


@pytest.mark.parametrize("name", ["other.body_width", "other.height", "other.contact_count", "other.half_kind"])
def test_the_other_half_can_be_entered(server: TestClient, name: str) -> None:
    page = Page(server.get("/", params={name: sample(name.removeprefix("other."))}).text)
    assert page.values()[name] == [sample(name.removeprefix("other."))]
    assert "not in this catalogue" in page.text


def test_a_form_sent_without_script_leads_to_a_clean_address(server: TestClient) -> None:
    sent = [("instrument", "caliper"), ("unit", "mm"), ("contact_count", "24"), ("rows", ""), ("pitch", " 4.41 ")]
    sent += [("pitch.gaps", "11"), ("latch_style", "none_visible"), ("latch_style", "click_felt"), ("pins", "")]
    answered = server.get(f"/?{urlencode(sent)}", follow_redirects=False)
    assert answered.status_code == 303
    expected = "/?instrument=caliper&contact_count=24&pitch=4.41/11&latch_style=none_visible,click_felt"
    assert answered.headers["Location"] == expected
    assert server.get(expected, follow_redirects=False).status_code == 200


@pytest.mark.parametrize(
    ("typed", "tidied"),
    [
        ([("pitch", "4.41@caliper"), ("pitch.gaps", "11")], [("pitch", "4.41/11@caliper")]),
        ([("pitch", "4.41/10"), ("pitch.gaps", "11")], [("pitch", "4.41/10")]),
        ([("pitch", "4.41"), ("pitch.gaps", "many")], [("pitch", "4.41")]),
        ([("pitch.gaps", "11")], []),
        ([("pins", "24")], [("contact_count", "24")]),
        ([("this.height", "0.6"), ("pair.stack height", "0.8")], [("height", "0.6"), ("stack_height", "0.8")]),
        ([("body_length", "6.6"), ("body_length", "6.7")], [("body_length", "6.6"), ("body_length", "6.7")]),
        (
            [("more", "other.row_spacing=0.8 height<=0.9; shield=none")],
            [("other.row_spacing", "0.8"), ("height", "<=0.9"), ("shield", "none")],
        ),
        ([("more", "what is this")], [("more", "what is this")]),
        ([("prior_absent", "0.1"), ("unit", "mm")], []),
    ],
)
def test_an_address_is_tidied(typed: list[tuple[str, str]], tidied: list[tuple[str, str]]) -> None:
    assert tidy(typed) == tidied
    assert tidy(tidied) == tidied


def test_a_shared_address_reproduces_the_state(server: TestClient) -> None:
    first = server.get(f"/?{SPECIMEN}&instrument=caliper&other.body_width=2.5&keying=corner_chamfer,end_shape")
    match = re.search(r'data-address="([^"]*)"', first.text)
    assert match is not None
    again = server.get(f"/?{match[1].replace('&amp;', '&')}", follow_redirects=False)
    assert again.status_code == 200
    assert _without_keys(again) == _without_keys(first)
    values = Page(again.text).values()
    assert values["pitch"] == ["4.4,4.37,4.4"]
    assert values["pitch.gaps"] == ["11"]
    assert values["other.body_width"] == ["2.5"]
    assert values["keying"] == ["corner_chamfer", "end_shape"]


def _without_keys(page: Response) -> str:
    """The page without the idempotency keys of its forms and the address to which signing in returns."""
    return re.sub(r'name="once" value="[^"]*"|/sign-in\?to=[^"]*', "", page.text)


def test_signing_in_returns_to_the_measurements(server: TestClient) -> None:
    assert 'href="/sign-in?to=/%3Fcontact_count%3D24"' in server.get("/?contact_count=24").text


def test_a_known_specimen_is_identified_and_its_mate_is_named(server: TestClient) -> None:
    page = server.get(f"/?{SPECIMEN}&instrument=caliper&height=0.57&hold_down_form=end_tab&tail_form=gull_out").text
    lead = page[page.index('class="row lead"') :]
    assert "MOSSIPET-P24" in lead[:2000]
    assert "MOSSIPET-R24" in lead[:9000]
    assert 'href="/halves/ouzelby%3Amossipet-p24"' in lead or 'href="/halves/ouzelby:mossipet-p24"' in lead


def test_the_page_gives_the_answer_of_the_interface(server: TestClient) -> None:
    told = server.post("/v1/identify", json={"observations": parse_pieces(SPECIMEN.split("&"))}).json()
    page = Page(server.get(f"/?{SPECIMEN}").text).text
    for candidate in told["candidates"][:6]:
        assert candidate["half"]["part_number"] in page
    assert f"{100 * told['candidates'][0]['probability']:.1f} %" in page


@pytest.mark.parametrize("query", [SPECIMEN, MISCOUNTED, "", "body_length=x&height=0.9", "pitch=400px/11&unit=px"])
def test_parts_equal_those_of_the_whole_page(server: TestClient, query: str) -> None:
    whole = server.get(f"/?{query}").text
    for name, pieces in (("answer", ("verdict", "rows")), ("advice", ("next", "doubts", "then"))):
        text = part(server, query, name)
        for each in pieces:
            assert piece(text, each) in whole


def test_the_drawing_part_equals_the_drawing_of_the_page_without_the_next_measurement(server: TestClient) -> None:
    drawing = part(server, SPECIMEN, "drawing")
    whole = server.get(f"/?{SPECIMEN}").text
    shown = re.findall(r"<svg.*?</svg>", drawing, re.DOTALL)
    assert shown
    for svg in shown:
        assert svg in whole.replace(' next"', '"')


def test_an_invalid_field_keeps_its_text_and_the_rest_is_answered(server: TestClient) -> None:
    page = server.get("/?contact_count=24&body_length=6,5&pitch=0.4")
    assert page.status_code == 200
    found = Page(page.text)
    assert found.values()["body_length"] == ["6,5"]
    field = next(each for each in found.named("input") if each.get("name") == "body_length")
    assert field["aria-invalid"] == "true"
    assert "body_length-error" in str(field["aria-describedby"])
    assert re.search(r'id="body_length-error">This may be one number or two\.', page.text)
    assert 'class="row lead"' in page.text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("body_length=6.5cm", "The unit 'cm' is not known"),
        ("contact_count=many", "'many' is not a whole number"),
        ("latch_style=glue", "'glue' is not a value of latch_style"),
        ("pitsch=0.4", "The feature 'pitsch' is not known. Did you mean 'pitch'?"),
        ("upper.height=3", "'upper' is not a body"),
        ("height=5..2", "is above the largest"),
        ("trial_fit=mates:nobody", "no half has the key 'nobody'"),
        ("unit=ell&height=2", "The unit 'ell' is not known"),
        ("instrument=thumb&height=2", "The instrument 'thumb' is not known"),
        ("at_hand=caliper,thumb&height=2", "The instrument 'thumb' is not known"),
        ("prior_absent=2&height=2", "'2' is not a probability"),
        ("prior_absent=0.0&height=2", "Zero would rule it out"),
        ("limit=0&height=2", "'0' is not a number of halves to show"),
        ("more=what is this", "The feature 'more' is not known"),
        (f"marking={'x' * 600}", "This is too long"),
    ],
)
def test_unreadable_input_is_reported_with_a_remedy(server: TestClient, query: str, said: str) -> None:
    page = server.get(f"/?{query}")
    assert page.status_code == 200
    assert said.lower() in Page(page.text).text.lower()
    assert "Not read yet" in page.text


def test_too_many_observations_are_refused_one_by_one(snapshot: Snapshot) -> None:
    bench = read(snapshot, [("contact_count", "24")] * 201)
    assert bench.entries[200].error is not None
    assert bench.entries[200].error.message == "there are too many observations"


def test_a_repeated_observation_is_reported_at_the_later_field(snapshot: Snapshot) -> None:
    bench = read(snapshot, [("contact_count", "24"), ("contact_count", "24"), ("rows", "2")])
    assert [entry.usable for entry in bench.entries] == [True, False, True]
    assert sentences(bench.entries[1].error).startswith("It is the same as contact_count.")


@pytest.mark.parametrize("name", [*SHOWN, "unit", "instrument", "at_hand", "prior_absent", "limit", "more", HOSTILE])
def test_hostile_text_appears_as_text(server: TestClient, name: str) -> None:
    for sent in ({name: HOSTILE}, {name: HOSTILE, "contact_count": "24"}):
        answered = server.get("/", params=sent)
        assert answered.status_code == 200
        page = Page(answered.text)
        assert "49" not in page.text or "7*7" in page.text
        _is_inert(page)
        for each in ("drawing", "answer", "advice"):
            _is_inert(Page(part(server, urlencode(sent), each)))


def _is_inert(page: Page) -> None:
    assert all(set(script) == {"type", "src"} for script in page.named("script"))
    assert all(str(script["src"]).startswith("/static/") for script in page.named("script"))
    assert not page.named("img")
    assert not page.named("style")
    assert not any(name == "style" or name.startswith("on") for _, given in page.elements for name in given)


def test_the_page_has_nothing_inline_and_a_strict_policy(server: TestClient) -> None:
    page = server.get(f"/?{SPECIMEN}")
    _is_inert(Page(page.text))
    assert "script-src 'self'" in page.headers["Content-Security-Policy"]
    assert "unsafe" not in page.headers["Content-Security-Policy"]


@pytest.mark.parametrize(
    "query", ["", SPECIMEN, f"{SPECIMEN}&limit=24", "contact_count=1000&rows=2", "contact_count=60&pitch=0.4&limit=24"]
)
def test_the_size_of_a_page_stays_below_its_limit(server: TestClient, query: str) -> None:
    assert len(server.get(f"/?{query}").content) < LARGEST_PAGE


def test_ids_are_unique_and_every_field_has_a_label(server: TestClient) -> None:
    page = Page(server.get(f"/?{SPECIMEN}&other.shield=none&body_length=6.7").text)
    ids = [given["id"] for _, given in page.elements if "id" in given]
    assert len(ids) == len(set(ids))
    labelled = {label.get("for") for label in page.named("label")}
    for field in page.named("input") + page.named("select"):
        if field.get("type") not in ("hidden", "checkbox"):
            assert field.get("id") in labelled or "aria-label" in field
    for _, given in page.elements:
        for reference in str(given.get("aria-describedby") or "").split():
            assert reference in ids


def test_the_page_explains_the_exact_meaning_of_every_field(server: TestClient) -> None:
    text = server.get("/").text
    for name in {name.rpartition(".")[2] for name in SHOWN}:
        assert f'id="about-{name}-meaning"' in text
    assert set(FEATURES) == {name.rpartition(".")[2] for name in SHOWN}


def test_fields_are_placed_where_their_dimension_lines_end() -> None:
    css = (files("api.web.bench") / "static" / "bench.css").read_text(encoding="utf-8")
    fixed = {"contact_count": CONTACTS, "rows": ROWS, "hold_down_count": HOLD_DOWNS}
    places = [(name, *place, ABOVE_HEIGHT) for name, place in fixed.items()]
    places += [(lane.name, *lane.field, ABOVE_HEIGHT) for lane in ABOVE]
    places += [(lane.name, *lane.field, END_HEIGHT) for lane in FROM_END]
    for name, x, y, height in places:
        place = f".at-{name.replace('.', '-')} {{ left: {100 * x / 780:.2f}%; top: {100 * y / height:.2f}%; }}"
        assert place in css


def test_the_letters_of_the_sheet_are_those_of_its_fields(server: TestClient) -> None:
    text = server.get("/").text
    drawn = re.findall(r'class="letter"[^>]*>([A-Z])</text>', text)
    listed = re.findall(r'<b class="letter" aria-hidden="true">([A-Z])</b>', text)
    assert sorted(drawn) == sorted(listed) == [chr(ord("A") + place) for place in range(len(drawn))]


def _spans(snapshot: Snapshot, query: str) -> dict[str, tuple[float, float]]:
    """The end points of each dimension on the first sheet: the points of its two edges."""
    bench = read(snapshot, parse_qsl(query))
    drawn = from_above(drawable(bench.readings, {}))
    found = {}
    for group in re.findall(r'<g class="dimension[^"]*" data-for="([^"]+)">(.*?)</g>', drawn, re.DOTALL):
        edges = [(float(x), float(y)) for x, y in re.findall(r'class="edge" d="M(-?[\d.]+),(-?[\d.]+)', group[1])]
        if len(edges) == 2:
            (x1, y1), (x2, y2) = edges
            found[group[0]] = (abs(x2 - x1), abs(y2 - y1))
    return found


def test_the_drawing_has_the_proportions_of_what_was_entered(snapshot: Snapshot) -> None:
    spans = _spans(snapshot, "contact_count=24&pitch=4.4/11&body_length=8&body_width=2&tail_span=3&row_spacing=1.2")
    scale = spans["body_length"][0] / 8
    # The sheet's coordinates have two decimals.
    assert spans["body_width"][1] == pytest.approx(2 * scale, abs=0.02)
    assert spans["tail_span"][1] == pytest.approx(3 * scale, abs=0.02)
    assert spans["row_spacing"][1] == pytest.approx(1.2 * scale, abs=0.02)
    assert spans["pitch"][0] == pytest.approx(4.4 * scale, abs=0.02)


def test_a_pitch_is_drawn_over_the_gaps_that_were_counted(snapshot: Snapshot) -> None:
    one = _spans(snapshot, "contact_count=24&pitch=0.4&body_length=8")
    five = _spans(snapshot, "contact_count=24&pitch=2.0/5&body_length=8")
    assert five["pitch"][0] == pytest.approx(5 * one["pitch"][0], abs=0.1)


def test_more_gaps_than_a_row_has_are_drawn_as_the_whole_row(snapshot: Snapshot) -> None:
    shape_sites = drawable(read(snapshot, [("contact_count", "8"), ("rows", "2")]).readings, {})
    from api.drawing.outline import half_shape

    first, last = gap_ends(half_shape(shape_sites.this).sites, 40)
    assert (first.position, last.position) == (1, 4)


def test_a_plug_has_no_opening_to_measure(server: TestClient) -> None:
    assert 'data-voids="opening_length opening_width"' in server.get("/?half_kind=plug").text
    assert 'data-voids=""' in server.get("/?half_kind=receptacle").text


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("at least 0.8", {"min": 0.8}),
        ("≥0.8", {"min": 0.8}),
        ("under 0.9", {"max": 0.9}),
        ("up to 0.9mm", {"max": 0.9, "unit": "mm"}),
        ("0.8..0.9", {"min": 0.8, "max": 0.9}),
        ("0.035in", {"value": 0.035, "unit": "in"}),
        ("35.4mil±1", {"value": 35.4, "unit": "mil", "plus_minus": 1.0}),
        ('3/64"', {"value": 0.046875, "unit": "in"}),
        ("1 3/8 in±0.01", {"value": 1.375, "unit": "in", "plus_minus": 0.01}),
        ("0.89±0.03", {"value": 0.89, "plus_minus": 0.03}),
        ("0.89,0.90", {"readings": [0.89, 0.9]}),
    ],
)
def test_common_ways_to_write_readings_are_understood(
    snapshot: Snapshot, text: str, expected: dict[str, object]
) -> None:
    entry = read(snapshot, [("height", text)]).entries[0]
    assert entry.observation == {"feature": "height", **expected}


def test_a_slash_counts_gaps_of_a_pitch_and_is_a_fraction_of_an_inch_elsewhere(snapshot: Snapshot) -> None:
    bench = read(snapshot, [("unit", "in"), ("pitch", "15/64"), ("body_length", "17/64"), ("height", "3/7")])
    pitch, length, height = (entry.observation or {} for entry in bench.entries)
    assert pitch == {"feature": "pitch", "value": 15.0, "spans": 64, "unit": "in"}
    assert length == {"feature": "body_length", "value": 0.265625, "unit": "in"}
    assert height["spans"] == 7, "no rule has sevenths"


def test_unit_and_instrument_apply_to_lengths_that_name_none(snapshot: Snapshot) -> None:
    pairs = [("unit", "in"), ("instrument", "micrometer"), ("body_length", "0.26"), ("body_width", "2.5mm@caliper")]
    bench = read(snapshot, [*pairs, ("contact_count", "24"), ("contact_width", "0.01")])
    length, width, count, fine = (entry.observation or {} for entry in bench.entries)
    assert (length["unit"], length["instrument"]) == ("in", "micrometer")
    assert (width["unit"], width["instrument"]) == ("mm", "caliper")
    assert "unit" not in count
    assert "instrument" not in fine, "a micrometer cannot reach one contact"


def test_pixels_are_not_attributed_to_a_caliper(snapshot: Snapshot) -> None:
    bench = read(snapshot, [("instrument", "caliper"), ("body_length", "660px"), ("body_width", "250px")])
    assert not bench.errors
    assert all(reading.shared is not None and reading.shared.unscaled for reading in bench.readings)


def test_the_end_allowance_is_shown_as_soon_as_it_can_be_computed(server: TestClient, snapshot: Snapshot) -> None:
    bench = read(snapshot, parse_qsl("contact_count=24&rows=2&pitch=4.4/11&body_length=6.6"))
    found = allowance(bench.readings)
    assert found is not None
    assert found.value == pytest.approx(6.6 - 4.4)
    assert "End allowance" in server.get("/?contact_count=24&pitch=4.4/11&body_length=6.6").text
    for query in ("contact_count=24&pitch=4.4/11", "pitch=0.4&body_length=6.6", f"{SPECIMEN}&bank_count=2"):
        assert allowance(read(snapshot, parse_qsl(query)).readings) is None
    assert allowance(read(snapshot, parse_qsl("contact_count=9&pitch=40px&body_length=99px")).readings) is None


def test_a_likely_slip_is_corrected_only_by_following_its_link(server: TestClient) -> None:
    page = server.get(f"/?{MISCOUNTED}").text
    assert Page(page).values()["contact_count"] == ["28"]
    link = re.search(r'hold-downs may be counted in.*?<a href="([^"]+)" data-apply>', page, re.DOTALL)
    assert link is not None
    mended = server.get(link[1].replace("&amp;", "&"), follow_redirects=False)
    assert mended.status_code == 200
    values = Page(mended.text).values()
    assert values["contact_count"] == ["24"]
    assert (values["pitch"], values["pitch.gaps"], values["body_length"]) == (["4.41"], ["11"], ["6.63"])


def test_the_command_shown_makes_the_same_request(server: TestClient, snapshot: Snapshot) -> None:
    query = f"{SPECIMEN}&unit=mm&instrument=caliper&height=..0.9&marking={quote('A 7')}"
    page = server.get(f"/?{query}").text
    shown = re.search(r"<pre [^>]*command that asks[^>]*>(.*?)</pre>", page, re.DOTALL)
    assert shown is not None
    words = shlex.split(shown[1].replace("&#39;", "'").replace("&lt;", "<").replace("&gt;", ">"))
    assert words[:2] == ["otherhalf", "identify"]
    request = IdentifyRequest(observations=parse_pieces(words[2:]))  # type: ignore[arg-type]
    assert request.observations == read(snapshot, tidy(parse_qsl(query))).request.observations


def test_the_json_shown_makes_the_same_request(server: TestClient) -> None:
    page = server.get(f"/?{SPECIMEN}").text
    shown = re.search(r"<pre [^>]*POST /v1/identify[^>]*>(.*?)</pre>", page, re.DOTALL)
    assert shown is not None
    body = shown[1].replace("&#34;", '"')
    told = server.post("/v1/identify", content=body, headers={"Content-Type": "application/json"}).json()
    assert f"{100 * told['candidates'][0]['probability']:.1f} %" in Page(page).text


def test_the_ranking_part_equals_that_of_the_whole_answer(snapshot: Snapshot) -> None:
    request = read(snapshot, parse_qsl(SPECIMEN)).request
    whole, ranked = answer(snapshot, request), ranking_of(snapshot, request)
    assert ranked.model_dump() == {
        name: value for name, value in whole.model_dump().items() if name in ranked.model_dump()
    }


def test_the_next_measurement_is_marked_at_its_field_and_dimension_line(server: TestClient) -> None:
    page = server.get(f"/?{MISCOUNTED.replace('28', '24')}&instrument=caliper").text
    marked = re.search(r'data-next="([^"]+)"', page)
    assert marked is not None
    for name in marked[1].split():
        assert re.search(rf'class="(?:dim|eye) [^"]*next" data-name="{name}"', page)
    assert re.search(r"removes [a-z ]+ of the doubt", page)


def test_every_answer_has_its_cautions(server: TestClient) -> None:
    for query in ("", SPECIMEN, "body_length=x"):
        assert "A half that fits can be wired differently" in Page(server.get(f"/?{query}").text).text


def test_an_empty_catalogue_is_reported(empty_url: str) -> None:
    with TestClient(create_app(Settings(database_url=empty_url))) as client:
        assert client.get("/").status_code == 200
        page = Page(client.get("/?contact_count=24").text).text
        assert "The catalogue is empty" in page
        assert "100.0 %" in page


@pytest.mark.parametrize(
    ("given", "name"),
    [("pins", "contact_count"), ("other.width", "other.body_width"), ("pair.stack_height", "stack_height")],
)
def test_other_names_of_a_feature_become_its_own_name(given: str, name: str) -> None:
    assert canonical_name(given) == name


def test_an_unknown_name_of_a_feature_is_refused() -> None:
    with pytest.raises(ShortFormError, match="not known"):
        canonical_name("colour of the cable")


def test_an_address_keeps_what_it_cannot_read() -> None:
    assert query_of([("height", "a&b=c#d"), ("nøt", "±")]) == "height=a%26b%3Dc%23d&n%C3%B8t=%C2%B1"
    assert Bench().query() == ""


def test_the_shortlist_can_be_printed_and_its_mates_compared_with_the_room(server: TestClient) -> None:
    page = server.get("/?contact_count=24&rows=2&pitch=4.41/11&body_length=6.63&body_width=1.99").text
    assert "/print?half=ouzelby:mossipet-p24&amp;half=pipitholt:seeplet-p24" in page
    assert "/halves/ouzelby:mossipet-p24/mates?half=pipitholt:seeplet-p24" in page
