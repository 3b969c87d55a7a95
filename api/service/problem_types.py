"""The table of all kinds of problem that the interface can answer with, and their remedies.

The pages at ``/problems``, the OpenAPI responses and the problem documents (RFC 9457) are made from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

OF_BODIES = ("malformed-json", "body-too-large", "unsupported-content")
"""Problems of every route that takes a body."""

OF_READING = ("invalid-request", "internal-error", "catalogue-locked", "catalogue-unusable")
"""Problems of every route that reads the catalogue."""


@dataclass(frozen=True, kw_only=True)
class ProblemType:
    """One kind of problem: its name in the type URI, a short title, the HTTP status, what it means and the remedy."""

    name: str
    title: str
    status: int
    meaning: str
    remedy: str

    @property
    def uri(self) -> str:
        """The type URI, a reference relative to the server."""
        return f"/problems/{self.name}"


_TABLE = (
    ProblemType(
        name="malformed-json",
        title="The body is not JSON",
        status=400,
        meaning="The request's body could not be read as JSON.",
        remedy="Send one JSON object, UTF-8; the problem's detail says where reading stopped.",
    ),
    ProblemType(
        name="unauthorised",
        title="A valid token is needed",
        status=401,
        meaning="The request needs a token and has none, or its token is unknown, has expired or was revoked.",
        remedy="Send the header 'Authorization: Bearer oh_…'. Ask a maintainer for a token, or make a new one.",
    ),
    ProblemType(
        name="forbidden",
        title="This is not allowed",
        status=403,
        meaning="The token is valid, but the contributor's role or the token's scopes do not allow this, or the record "
        "belongs to another person.",
        remedy="Each entry of errors says what is missing.",
    ),
    ProblemType(
        name="suspended",
        title="This contributor is suspended",
        status=403,
        meaning="A maintainer has suspended this contributor, who can still read but not change anything.",
        remedy="Ask a maintainer; the detail says since when and why.",
    ),
    ProblemType(
        name="own-evidence",
        title="Evidence must come from another person",
        status=403,
        meaning="The author of an entry's values cannot confirm them by a measurement.",
        remedy="Ask another person to measure the part, or cite a drawing if there is one.",
    ),
    ProblemType(
        name="not-found",
        title="There is nothing at this address",
        status=404,
        meaning="No page or resource has this address.",
        remedy="See /docs for all addresses.",
    ),
    ProblemType(
        name="unknown-entry",
        title="Not in this catalogue",
        status=404,
        meaning="The catalogue has no record with this key.",
        remedy="Find the key with /v1/search. The key of a half is made of maker and part number: 'maker:part'.",
    ),
    ProblemType(
        name="method-not-allowed",
        title="This address does not allow this method",
        status=405,
        meaning="The address exists, but only for the methods in the Allow header.",
        remedy="Use one of the methods in the Allow header.",
    ),
    ProblemType(
        name="conflicting-entry",
        title="The catalogue has another entry with this key",
        status=409,
        meaning="An entry with the same key but different content exists.",
        remedy="Compare both. Give the new one its own part number, or leave it out.",
    ),
    ProblemType(
        name="review-refused",
        title="The machine review found something severe",
        status=409,
        meaning="The entry is impossible, differs much from its series' law, seems to be in another unit, or is "
        "listed already. Nothing was saved.",
        remedy="Correct the fields in errors. If a value is correct as it is, give the reason in acknowledge, under "
        "the code in the error; the reason is saved.",
    ),
    ProblemType(
        name="stale-revision",
        title="The record has changed since you read it",
        status=412,
        meaning="The change, or the evidence, is based on an earlier state of the record. Nothing was changed.",
        remedy="Read it again. If your change still makes sense, send it with the new ETag.",
    ),
    ProblemType(
        name="body-too-large",
        title="The body is too large",
        status=413,
        meaning="The request's body is larger than this server accepts.",
        remedy="An identification needs a few kilobytes. Load files into the catalogue with 'otherhalf import'. Crop "
        "a picture to the rows of contacts.",
    ),
    ProblemType(
        name="unsupported-content",
        title="This address does not accept this type of body",
        status=415,
        meaning="The request's Content-Type is missing, or is not JSON (for a row of contacts: JSON, PNG or JPEG).",
        remedy="Send the header Content-Type: application/json, or image/png or image/jpeg with a bare picture.",
    ),
    ProblemType(
        name="invalid-request",
        title="The request does not have the expected form",
        status=422,
        meaning="A field is missing, unknown, of the wrong type or out of range.",
        remedy="Each entry of errors names the field, the value given and what to give instead.",
    ),
    ProblemType(
        name="invalid-observations",
        title="An observation cannot be used",
        status=422,
        meaning="The form is correct, but an observation makes no sense: an unknown unit, a length of zero …",
        remedy="Each entry of errors names the field, the value given and what to give instead.",
    ),
    ProblemType(
        name="invalid-picture",
        title="The picture cannot be used",
        status=422,
        meaning="The picture is not a PNG or JPEG, is damaged or incomplete, or has too many pixels for this server.",
        remedy="Send a complete PNG or JPEG, cropped to the rows of contacts.",
    ),
    ProblemType(
        name="unknown-half",
        title="A half in the request is not in this catalogue",
        status=422,
        meaning="The request names a half that the catalogue does not have, for an explanation or in a trial fit.",
        remedy="Find its key with /v1/search.",
    ),
    ProblemType(
        name="invalid-cursor",
        title="The cursor does not belong to this list",
        status=422,
        meaning="The cursor was changed, or comes from another list or from other filters.",
        remedy="Start again without a cursor, and follow next from there.",
    ),
    ProblemType(
        name="invalid-entry",
        title="An entry or a file cannot be used",
        status=422,
        meaning="A catalogue entry, or a file of entries, contradicts itself or has an unknown form.",
        remedy="Each item of errors names the place and what to change.",
    ),
    ProblemType(
        name="key-reused",
        title="The Idempotency-Key belongs to another request",
        status=422,
        meaning="An earlier request with this Idempotency-Key was a different one.",
        remedy="Give every new request its own key. Repeat a key only with the same body.",
    ),
    ProblemType(
        name="precondition-missing",
        title="The header If-Match is missing",
        status=428,
        meaning="A change needs the ETag of the record that it is based on, so that nobody's work is overwritten by "
        "accident.",
        remedy="Read the record, and send its ETag as If-Match.",
    ),
    ProblemType(
        name="internal-error",
        title="An internal error",
        status=500,
        meaning="The request is not the cause; the server's log has the details.",
        remedy="Try again. If it happens again, report the request and the time.",
    ),
    ProblemType(
        name="catalogue-locked",
        title="The catalogue is busy",
        status=503,
        meaning="Another process has locked the catalogue's database.",
        remedy="Try again after the seconds in the Retry-After header.",
    ),
    ProblemType(
        name="catalogue-unusable",
        title="The catalogue cannot be used",
        status=503,
        meaning="The catalogue's database is read-only, of another schema revision, or damaged.",
        remedy="The operator of this server must act; the detail says what to do.",
    ),
)

PROBLEMS: Mapping[str, ProblemType] = MappingProxyType({problem.name: problem for problem in _TABLE})
"""Every problem type by name, in the order of their status."""
