"""The typed client, run against the app in this process."""

from __future__ import annotations

import httpx2
import pytest
from starlette.testclient import TestClient

from api.client import Client, ProblemError
from api.schemas.examples import ROW_EXAMPLES
from catalog.snapshot.snapshot import Snapshot
from matcher.features import FEATURES
from matcher.results import Verdict
from tests.api.web.photographed import Rows, encoded, photographed


@pytest.fixture
def client(server: TestClient) -> Client:
    return Client(http=server)


def test_an_identification_comes_back_typed(client: Client) -> None:
    answer = client.identify(["contact_count=24", {"feature": "pitch", "value": 0.4}], limit=3, prior_absent=0.2)
    assert answer.verdict in Verdict
    assert len(answer.candidates) == 3
    assert answer.prior_absent == 0.2


def test_an_explanation_comes_back_typed(client: Client) -> None:
    explained = client.explain("ouzelby:mossipet-p24", ["contact_count=24"])
    assert explained.candidate.half.part_number == "MOSSIPET-P24"


def test_measured_clicks_and_readings_come_back_typed_and_can_be_identified_unchanged(client: Client) -> None:
    row = {"points": [[100 + 50 * site, 200.0] for site in range(12)]}
    measured = client.measure(
        pictures=[{"name": "top", "rows": [row], "scale": {"px_per_mm": 125.0}}],
        readings=["body_length=6.65@caliper", {"feature": "body_width", "value": 2.0, "instrument": "caliper"}],
        closed_jaws={"caliper": [0.02, 0.02]},
    )
    assert measured.pictures[0].rows[0].pitch_px == pytest.approx(50.0)
    length = next(each for each in measured.budgets if each.feature == "body_length")
    assert length.value == pytest.approx(6.63)
    answer = client.identify(
        ["contact_count=24", *measured.observations], closed_jaws=measured.closed_jaws, instruments=measured.instruments
    )
    told = {line.feature: line.measured for line in answer.candidates[0].evidence}
    assert told["body_length"] == pytest.approx(6.63)
    assert told["pitch"] == pytest.approx(0.4)


def test_a_row_comes_back_typed_from_a_picture_and_from_a_profile(client: Client) -> None:
    rows = Rows()
    line = rows.lines[0]
    for form in ("PNG", "JPEG"):
        found = client.measure_row(encoded(photographed(rows), form), (line[0], line[1], line[2], line[3]), row_count=1)
        assert found.rows[0].count == rows.count
        assert client.identify(found.observations).candidates
    assert client.measure_row(profile=ROW_EXAMPLES[0]["profile"]).rows[0].pitch_px == pytest.approx(12.5, abs=0.1)


def test_a_contact_map_comes_back_typed(client: Client) -> None:
    found = client.contact_map("ouzelby:mossipet-p24", "ouzelby:mossipet-r24", fold="along_rows")
    assert found.sure
    assert next(view for view in found.views if view.name == "in_place").side == "board_side"


def test_iterators_follow_all_pages(client: Client, snapshot: Snapshot) -> None:
    listed = sum(record.origin == "listed" for record in snapshot.halves.values())
    assert sum(1 for _ in client.halves(page_size=500)) == listed
    assert sum(1 for _ in client.matings(page_size=500)) == len(snapshot.matings)
    assert {record.series.maker for record in client.all_series(maker="Ouzelby", page_size=1)} == {"Ouzelby"}


def test_single_entries_and_tables_come_back_typed(client: Client) -> None:
    half = client.half("ouzelby:mossipet-p24")
    assert client.series(half.series_key).series.name == half.half.series
    assert [item.name for item in client.features().items] == list(FEATURES)
    assert client.instruments().items
    assert client.search("mossipet", limit=1).hits[0].key == "ouzelby:mossipet"
    assert client.health().status == "ok"


def test_a_refusal_is_raised_with_its_document(client: Client) -> None:
    with pytest.raises(ProblemError) as caught:
        client.identify([{"feature": "pitch", "value": 0.4, "unit": "cm"}])
    assert caught.value.problem.status == 422
    assert caught.value.problem.errors[0].field == "observations[0].unit"
    assert "known: mm" in str(caught.value)


def test_an_unknown_key_is_raised_as_a_problem(client: Client) -> None:
    with pytest.raises(ProblemError) as caught:
        client.half("no:such/../half")
    assert caught.value.problem.status == 404


def test_an_error_without_a_problem_document_is_raised_as_an_http_error() -> None:
    transport = httpx2.MockTransport(lambda request: httpx2.Response(502, text="<html>gateway</html>"))
    with httpx2.Client(transport=transport, base_url="http://localhost") as http, pytest.raises(httpx2.HTTPStatusError):
        Client(http=http).health()


def test_closing_the_client_leaves_a_borrowed_connection_open(server: TestClient) -> None:
    with Client(http=server):
        pass
    assert server.get("/health").status_code == 200
