"""Requests under a key of their own: remembered with their answer, told apart by what they ask."""

from __future__ import annotations

import pytest

from catalog.db.database import Catalogue
from catalog.history.idempotency import LONGEST_KEY, answered, remember, request_key
from catalog.model.errors import EntryError, KeyReusedError
from tests.catalog.history.changed_entries import IDA, PER, by

ANSWER = {"key": "a:b", "revision": 1}


def test_an_answer_is_given_again_to_the_same_request_only(catalogue: Catalogue) -> None:
    request = request_key("k1", b"POST /v1/halves", b"{}")
    with catalogue.writing() as session:
        assert answered(session, by(IDA), request) is None
        remember(session, by(IDA), request, 201, ANSWER)
    with catalogue.reading() as session:
        assert answered(session, by(IDA), request) == (201, ANSWER)
        assert answered(session, by(PER), request) is None
        with pytest.raises(KeyReusedError) as caught:
            answered(session, by(IDA), request_key("k1", b"POST /v1/series", b"{}"))
    assert caught.value.field == "Idempotency-Key"


def test_what_a_failed_transaction_remembered_is_forgotten(catalogue: Catalogue) -> None:
    request = request_key("k1", b"{}")
    with pytest.raises(RuntimeError), catalogue.writing() as session:  # noqa: PT012 - both belong to one transaction
        remember(session, by(IDA), request, 201, ANSWER)
        raise RuntimeError("the power failed")
    with catalogue.reading() as session:
        assert answered(session, by(IDA), request) is None


def test_where_one_part_of_a_request_ends_matters() -> None:
    assert request_key("k", b"ab", b"c").digest != request_key("k", b"a", b"bc").digest
    assert request_key("k", b"ab").digest == request_key("other", b"ab").digest


@pytest.mark.parametrize("key", ["", "a" * (LONGEST_KEY + 1), "ü", "a\tb", "a\nb"])
def test_a_key_that_is_none_is_refused(key: str) -> None:
    with pytest.raises(EntryError) as caught:
        request_key(key, b"{}")
    assert caught.value.field == "Idempotency-Key"


@pytest.mark.parametrize("key", ["a", "a" * LONGEST_KEY, "3f0f4b2e-7a53-4a0e-9d5c-6b1f0c1d8e42", "two words"])
def test_any_printable_key_will_do(key: str) -> None:
    assert request_key(key, b"{}").key == key
