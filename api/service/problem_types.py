"""Every kind of problem the interface can answer with, and what to do about it: one table.

The pages at ``/problems``, the OpenAPI responses and the problem documents (RFC 9457) are made from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


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
        meaning="The request carries no token where one is needed, or one that is unknown, has ended or was revoked.",
        remedy="Send the header 'Authorization: Bearer oh_…'. Ask a maintainer for a token, or make a new one.",
    ),
    ProblemType(
        name="forbidden",
        title="This is not allowed",
        status=403,
        meaning="The token is good, but the contributor's role or the token's scopes do not reach as far, or what is "
        "to be changed is somebody else's.",
        remedy="Each entry of errors says what is lacking.",
    ),
    ProblemType(
        name="suspended",
        title="This contributor is suspended",
        status=403,
        meaning="A maintainer has stopped this contributor's changes, with a reason; reading stays open.",
        remedy="Ask a maintainer; the detail tells since when and why.",
    ),
    ProblemType(
        name="own-evidence",
        title="Evidence must come from somebody else",
        status=403,
        meaning="An entry is confirmed by others than the author of what it says.",
        remedy="Let somebody else measure the part; cite a drawing instead, if there is one.",
    ),
    ProblemType(
        name="not-found",
        title="Nothing is at this address",
        status=404,
        meaning="No page or resource has this address.",
        remedy="Look at /docs for the addresses there are.",
    ),
    ProblemType(
        name="unknown-entry",
        title="Not in this catalogue",
        status=404,
        meaning="The catalogue holds no entry of this key.",
        remedy="Find the key by /v1/search; keys are maker and part number, as in 'maker:part'.",
    ),
    ProblemType(
        name="method-not-allowed",
        title="This address does not take this method",
        status=405,
        meaning="The address exists but answers other methods; the Allow header lists them.",
        remedy="Use one of the methods in the Allow header.",
    ),
    ProblemType(
        name="conflicting-entry",
        title="The catalogue holds another entry of this key",
        status=409,
        meaning="An entry of the same key but with other content exists.",
        remedy="Compare both; give the new one its own part number, or leave it out.",
    ),
    ProblemType(
        name="review-refused",
        title="The machine review found something severe",
        status=409,
        meaning="The entry is impossible, far off its series' law, in another unit by the look of it, or listed "
        "already. Nothing was saved.",
        remedy="Correct what errors name. What is right as it is goes in with a reason in acknowledge, under the code "
        "that the error gives; the reason is kept.",
    ),
    ProblemType(
        name="stale-revision",
        title="Somebody changed it since you looked",
        status=412,
        meaning="The change, or the evidence, was made from an earlier state of the record. Nothing was changed.",
        remedy="Read it again; if your change still makes sense, send it with the new ETag.",
    ),
    ProblemType(
        name="body-too-large",
        title="The body is too large",
        status=413,
        meaning="The request's body is larger than this server reads.",
        remedy="An identification needs a few kilobytes. Load files into the catalogue with 'otherhalf import'; crop "
        "a picture to the rows of contacts.",
    ),
    ProblemType(
        name="unsupported-content",
        title="The body is of no kind that this address takes",
        status=415,
        meaning="The request's Content-Type is missing, or is not JSON (for a row of contacts: JSON, PNG or JPEG).",
        remedy="Send the header Content-Type: application/json; image/png or image/jpeg with a bare picture.",
    ),
    ProblemType(
        name="invalid-request",
        title="The request has another form than expected",
        status=422,
        meaning="A field is missing, unknown, of the wrong type or out of its bounds.",
        remedy="Each entry of errors names the field, the value given and what to give instead.",
    ),
    ProblemType(
        name="invalid-observations",
        title="An observation cannot be used",
        status=422,
        meaning="The form is right, but an observation makes no sense: an unknown unit, a length of zero …",
        remedy="Each entry of errors names the field, the value given and what to give instead.",
    ),
    ProblemType(
        name="invalid-picture",
        title="The picture cannot be used",
        status=422,
        meaning="The picture is no PNG or JPEG, is damaged or breaks off, or has more pixels than this server decodes.",
        remedy="Send it whole, as PNG or JPEG, cropped to the rows of contacts.",
    ),
    ProblemType(
        name="unknown-half",
        title="A half that is named is not in this catalogue",
        status=422,
        meaning="The request names a half, to be explained or tried for fit, that the catalogue does not hold.",
        remedy="Find its key by /v1/search.",
    ),
    ProblemType(
        name="invalid-cursor",
        title="The cursor does not belong to this list",
        status=422,
        meaning="The cursor was altered, or comes from another list or from other filters.",
        remedy="Start again without a cursor and follow next from there.",
    ),
    ProblemType(
        name="invalid-entry",
        title="An entry cannot be taken",
        status=422,
        meaning="A catalogue entry, or a file of entries, contradicts itself or has an unknown form.",
        remedy="Each entry of errors names the place and what to change.",
    ),
    ProblemType(
        name="key-reused",
        title="The Idempotency-Key belongs to another request",
        status=422,
        meaning="An earlier request with this Idempotency-Key asked for something else.",
        remedy="Give every new request a key of its own; repeat one only with the same body.",
    ),
    ProblemType(
        name="precondition-missing",
        title="The change does not say what it was made from",
        status=428,
        meaning="Changes carry the ETag of what they were made from, so that nobody's work is overwritten unseen.",
        remedy="Read the record, look at it, and send its ETag as If-Match.",
    ),
    ProblemType(
        name="internal-error",
        title="Something broke here",
        status=500,
        meaning="An error that is not the request's fault; the server's log has the details.",
        remedy="Try again; if it happens again, report the request and the time.",
    ),
    ProblemType(
        name="catalogue-locked",
        title="The catalogue is busy",
        status=503,
        meaning="Another process holds the catalogue's database.",
        remedy="Try again after the seconds in the Retry-After header.",
    ),
    ProblemType(
        name="catalogue-unusable",
        title="The catalogue cannot be used",
        status=503,
        meaning="The catalogue's database is read-only, of another schema revision, or damaged.",
        remedy="The keeper of this server must act; the detail names what to do.",
    ),
)

PROBLEMS: Mapping[str, ProblemType] = MappingProxyType({problem.name: problem for problem in _TABLE})
"""Every problem type by name, in the order of their status."""
