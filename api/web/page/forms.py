"""Forms as browsers send them: urlencoded text, whose size the body limit bounds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Annotated
from urllib.parse import parse_qsl

from fastapi import Depends, Request

from api.schemas.problems import FieldProblem
from api.service.access import from_own_page
from api.service.problems import ApiError
from catalog.history.documents import new_key

MOST_FIELDS = 2000
"""Most fields of one form: a series with a law for every feature and class has some hundred."""

URLENCODED = "application/x-www-form-urlencoded"


@dataclass(frozen=True, kw_only=True)
class Form:
    """The values typed into a form. ``once`` is its own key, so that sending it twice acts once; ``tag`` is the ETag of
    the record that it was made from."""

    pairs: tuple[tuple[str, str], ...] = ()

    def one(self, name: str) -> str:
        """The trimmed text of this field; empty where it is missing."""
        return next((value.strip() for given, value in self.pairs if given == name), "")

    def many(self, name: str) -> tuple[str, ...]:
        """The values of all fields of this name that are not empty."""
        return tuple(value.strip() for given, value in self.pairs if given == name and value.strip())

    def under(self, prefix: str) -> Iterator[tuple[str, str]]:
        """Fields that are not empty and whose names begin with the prefix, by the rest of the name."""
        for name, value in self.pairs:
            if name.startswith(prefix) and value.strip():
                yield name.removeprefix(prefix), value.strip()

    @property
    def once(self) -> str | None:
        """The form's own key."""
        return self.one("once") or None

    @property
    def tag(self) -> str | None:
        """The ETag of the record that the form was made from."""
        return self.one("tag") or None


def number(text: str, of: type[float] | type[int] = float) -> float | int | str:
    """What was typed as a number, with a decimal comma too; else as typed, so that it is refused in its field."""
    try:
        return of(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        return text


EMPTY = Form()


@dataclass(frozen=True, kw_only=True)
class Filled:
    """A form to show: what was typed, what is wrong with it by field, and the form's own key.

    ``stale``: it was refused because what it was made from has changed since.
    """

    form: Form = EMPTY
    errors: Sequence[FieldProblem] = ()
    once: str = field(default_factory=new_key)
    stale: bool = False

    def made_from(self, name: str, present: str | int) -> str:
        """The state that the form is made from, by the name of its field (``tag``, ``revision``).

        A form keeps the state that it began with until the person is told what has happened since.
        """
        return (not self.stale and self.form.one(name)) or str(present)

    def value(self, name: str, otherwise: str = "") -> str:
        """The text of a field: what was typed, or the initial text."""
        return self.form.one(name) if self.form.pairs else otherwise

    def wrong(self, name: str) -> FieldProblem | None:
        """The error at a field."""
        return next((error for error in self.errors if error.field == name), None)


async def _form(request: Request) -> Form:
    if not from_own_page(request.method, request.headers):
        raise ApiError("forbidden", "this form was sent from another site's page")
    sent = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if sent != URLENCODED:
        raise ApiError("unsupported-content", f"Content-Type is {sent or 'missing'}; a form is sent as {URLENCODED}")
    try:
        text = (await request.body()).decode("utf-8")
        pairs = parse_qsl(text, keep_blank_values=True, max_num_fields=MOST_FIELDS, errors="strict")
    except ValueError as error:
        raise ApiError("invalid-request", f"the form cannot be read: {error}") from error
    return Form(pairs=tuple((name, value.replace("\r\n", "\n")) for name, value in pairs))


FormDep = Annotated[Form, Depends(_form)]
"""The form of a request that changes something."""
