"""Idempotency keys: a request is remembered with its answer, and another request under the same key is refused."""

from __future__ import annotations

import pytest

from catalog.db.database import Catalogue
from catalog.history.idempotency import LONGEST_KEY, answered, remember, request_key
from catalog.model.errors import EntryError, KeyReusedError
from tests.catalog.history.changed_entries import IDA, PER, by

ANSWER = {"key": "a:b", "revision": 1}


def test_the_stored_answer_is_given_only_to_the_same_request(catalogue: Catalogue) -> None:
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


def test_a_failed_transaction_does_not_keep_its_idempotency_key(catalogue: Catalogue) -> None:
    request = request_key("k1", b"{}")
    with pytest.raises(RuntimeError), catalogue.writing() as session:  # noqa: PT012 - both belong to one transaction
        remember(session, by(IDA), request, 201, ANSWER)
        raise RuntimeError("the power failed")
    with catalogue.reading() as session:
        assert answered(session, by(IDA), request) is None


def test_the_boundaries_between_the_parts_of_a_request_matter() -> None:
    assert request_key("k", b"ab", b"c").digest != request_key("k", b"a", b"bc").digest
    assert request_key("k", b"ab").digest == request_key("other", b"ab").digest


@pytest.mark.parametrize("key", ["", "a" * (LONGEST_KEY + 1), "ü", "a\tb", "a\nb"])
def test_an_invalid_idempotency_key_is_refused(key: str) -> None:
    with pytest.raises(EntryError) as caught:
        request_key(key, b"{}")
    assert caught.value.field == "Idempotency-Key"


@pytest.mark.parametrize("key", ["a", "a" * LONGEST_KEY, "3f0f4b2e-7a53-4a0e-9d5c-6b1f0c1d8e42", "two words"])
def test_any_printable_idempotency_key_is_accepted(key: str) -> None:
    assert request_key(key, b"{}").key == key
