"""The page of a contact map: reached from the half and from each mate, with files, refusals and hostile text."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import unquote, urlencode

import pytest
from starlette.testclient import TestClient

from tests.api.web.page_reading import HTML, check_form

PLUG, RECEPTACLE = "ouzelby:mossipet-p24", "ouzelby:mossipet-r24"
MATED = f"{PLUG}~{RECEPTACLE}~maker~0.8"
TRACED = "contact,net,note\n" + "\n".join(
    f"{n},{ {1: 'BAT+', 24: 'GND'}.get(n, f'S{n}') },{'<b>x</b>' if n == 2 else ''}" for n in range(1, 25)
)


def page(server: TestClient, status: int = 200, **given: str) -> str:
    """The page for a filled form."""
    answer = server.get(f"/contact-map?{urlencode(given)}", headers=HTML)
    assert answer.status_code == status, answer.text
    return answer.text


def test_a_halfs_page_leads_to_the_map_by_itself_and_by_each_mate(server: TestClient) -> None:
    half = server.get(f"/halves/{PLUG}", headers=HTML).text
    links = [unescape(link) for link in re.findall(r'href="(/contact-map[^"]*)"', half)]
    assert [unquote(link) for link in links] == [
        f"/contact-map?half={PLUG}",
        f"/contact-map?half={PLUG}&mating={MATED}",
    ]
    assert all(server.get(link, headers=HTML).status_code == 200 for link in links)
    inferred = server.get("/halves/dunnocksward:brambikin-h10-3", headers=HTML).text
    assert "/contact-map" not in inferred


def test_the_empty_form_has_a_line_for_each_contact(server: TestClient) -> None:
    shown = page(server, half=PLUG)
    check_form(shown)
    assert "contact,net,reading,note\n1,,,\n2,,," in shown
    assert "\n24,,," in shown
    assert "<svg" not in shown


def test_the_map_is_drawn_and_told_and_can_be_kept(server: TestClient) -> None:
    shown = page(server, half=PLUG, mating=MATED, nets=TRACED, fold="across_rows")
    assert shown.count("<svg") == 2
    assert "the flex folded over across the rows, seen from above the top: its board side shows" in shown
    assert "supply to ground: BAT+ would meet GND" in shown
    assert "&lt;b&gt;x&lt;/b&gt;" in shown
    assert "<b>x</b>" not in shown
    files = [unescape(link) for link in re.findall(r'href="(/contact-map\.[^"]*)"', shown)]
    answers = [server.get(link) for link in files]
    assert [answer.headers["content-type"].split(";")[0] for answer in answers] == [
        "text/csv",
        "application/json",
        "image/svg+xml",
    ]
    assert all(answer.status_code == 200 for answer in answers)
    assert answers[0].text.splitlines()[1].startswith("1,BAT+,supply,,,1,BAT+")


def test_a_wiring_that_is_not_known_is_said_above_the_map(server: TestClient) -> None:
    half = "mistlethorpe:ploverick-p02-l"
    link = next(
        unescape(each)
        for each in re.findall(
            r'href="(/contact-map\?[^"]*mating=[^"]*fescuelet[^"]*)"', server.get(f"/halves/{half}").text
        )
    )
    shown = server.get(link, headers=HTML).text
    assert "Verify by continuity; no net is stated for the mate" in shown
    assert shown.index("Verify by continuity") < shown.index("<svg")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"nets": "contact,net\n25,GND"}, "MOSSIPET-P24 has no contact 25"),
        ({"nets": "contact,net\n1,GND"}, "23 of the half&#39;s contacts are missing"),
        ({"nets": "net\nGND"}, "contact included"),
        ({"mating": "no-such"}, "this half has no such mating"),
        ({"fold": "twice"}, "fold"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_is_kept(server: TestClient, given: dict[str, str], said: str) -> None:
    shown = page(server, 422, half=PLUG, **given)
    check_form(shown)
    assert 'role="alert"' in shown
    assert said in shown
    if "nets" in given:
        assert given["nets"] in shown


def test_an_unknown_half_and_an_unknown_ending_are_refused(server: TestClient) -> None:
    assert "mossipet-p24" in page(server, 404, half="ouzelby:mossipet-p25").lower()
    assert server.get(f"/contact-map.pdf?half={PLUG}").status_code == 404
    assert server.get("/contact-map.svg?half=pipitholt:seeplet-p24").status_code == 422
    assert server.get("/contact-map.csv?half=ouzelby:mossipet-p25").status_code == 422
