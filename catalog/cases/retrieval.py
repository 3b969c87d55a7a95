"""Cases read from the catalogue: one case by its key for people who may see it, and lists without private cases."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import ColumnElement, Select, and_, false, or_, select
from sqlalchemy.orm import Session, aliased

from catalog.accounts.access import Permission, Who, allowed, not_known
from catalog.cases.specimens import CASE_ANSWER, CHANGED, COMMENT, OPEN, SPECIMEN, CaseAnswer
from catalog.db.tables import DocumentTable, JournalTable
from catalog.history.acts import Act
from catalog.history.documents import DocumentRecord, documents
from catalog.history.journal import JournalEntry, revision_of
from catalog.model.errors import NotFoundError


@dataclass(frozen=True, kw_only=True)
class Seer:
    """The reader: a contributor's name (None: anybody), and whether they are a maintainer."""

    name: str | None = None
    maintainer: bool = False


def seer(who: Who) -> Seer:
    """The reader that ``who`` is; an invalid token makes them anybody."""
    if not_known(who) is not None:
        return Seer()
    return Seer(name=who.name, maintainer=allowed(who, Permission.MAINTAIN) is None)


def seer_of(act: Act) -> Seer:
    """The reader who carries out the act."""
    return Seer(name=act.actor, maintainer=act.maintainer)


@dataclass(frozen=True, kw_only=True)
class Case:
    """A specimen's document and that of its answer."""

    document: DocumentRecord
    answer_document: DocumentRecord

    @property
    def answer(self) -> CaseAnswer:
        """The stored answer."""
        return CaseAnswer.model_validate(self.answer_document.content)

    @property
    def changed_since(self) -> str | None:
        """The moment at which the answer last changed; None if it has not changed since the author wrote."""
        return self.answer_document.changed_at if self.answer_document.state == CHANGED else None


def get_case(session: Session, key: str, seen_by: Seer) -> Case:
    """The case of this key. Raises NotFoundError, with the same message for an unknown key and for a case that must not
    be seen.

    A private case can be seen by anyone with its key. Once it was public, its key is no longer secret: if it becomes
    private again, only its author and maintainers see it.
    """
    found = _cases(session, _both().where(_Specimen.key == key))
    hidden = found and found[0].document.private and not _inner(found[0].document, seen_by)
    if not found or (hidden and was_public(session, key)):
        raise NotFoundError(
            "no case has this key", field="key", value=key, remedy="Check the address, letter by letter"
        )
    return found[0]


def _inner(document: DocumentRecord, seen_by: Seer) -> bool:
    return seen_by.maintainer or seen_by.name == document.author


def was_public(session: Session, key: str) -> bool:
    """Whether any revision of a case was public."""
    table = JournalTable
    statement = select(table.id).where(
        table.record == SPECIMEN, table.key == key, table.new["private"].as_boolean() == false()
    )
    return session.execute(statement.limit(1)).first() is not None


def comments_of(session: Session, case: DocumentRecord, seen_by: Seer) -> list[DocumentRecord]:
    """Comments that are not withdrawn, oldest first. Comments made while the case was private do not become public with
    it: only the case's author, their own author and maintainers see them."""
    said = documents(session, COMMENT, of=SPECIMEN, about=case.key, state="listed", private=True)
    if case.private or _inner(case, seen_by):
        return said
    return [each for each in said if not each.private or each.author == seen_by.name]


def get_revision(session: Session, key: str, revision: int, seen_by: Seer) -> JournalEntry:
    """A revision of a case that may be seen. A private revision of a case that has been public since is seen by the
    author and by maintainers. Raises NotFoundError."""
    document = get_case(session, key, seen_by).document
    row = revision_of(session, SPECIMEN, key, revision)
    if row.new["private"] and not _inner(document, seen_by) and was_public(session, key):
        return revision_of(session, SPECIMEN, key, 0)  # as one that is not there
    return row


_Specimen, _Answer = aliased(DocumentTable), aliased(DocumentTable)


def _both() -> Select[DocumentTable, DocumentTable]:
    answers = and_(_Answer.about == _Specimen.key, _Answer.of == SPECIMEN, _Answer.record == CASE_ANSWER)
    return select(_Specimen, _Answer).join(_Answer, answers).where(_Specimen.record == SPECIMEN)


def _cases(session: Session, statement: Select[DocumentTable, DocumentTable]) -> list[Case]:
    return [
        Case(document=DocumentRecord.model_validate(specimen), answer_document=DocumentRecord.model_validate(answered))
        for specimen, answered in session.execute(statement)
    ]


def public_cases(
    session: Session, *, changed_since: str | None = None, after: int | None = None, limit: int, latest: bool = False
) -> list[Case]:
    """Open public cases, oldest first, after the number ``after``; ``latest``: those that changed last, first.

    ``changed_since``: only those whose answer changed at that moment or later.
    """
    conditions: list[ColumnElement[bool]] = [_Specimen.state == OPEN, _Specimen.private == false()]
    if changed_since is not None:
        conditions += [_Answer.state == CHANGED, _Answer.changed_at >= changed_since]
    if after is not None:
        conditions.append(_Specimen.id > after)
    order = (_Answer.changed_at.desc(), _Answer.id.desc()) if latest else (_Specimen.id.asc(),)
    return _cases(session, _both().where(*conditions).order_by(*order).limit(limit))


def own_cases(session: Session, author: str) -> list[Case]:
    """All cases of one author in any state, including private ones, oldest first."""
    return _cases(session, _both().where(_Specimen.author == author).order_by(_Specimen.id))


def next_behind(session: Session, version: int | None, after: int = 0) -> Case | None:
    """The first open case after the number ``after`` whose answer is of another version of the catalogue (None:
    whichever), or of another revision of the case: one that was reopened, or whose revision was taken back."""
    behind: ColumnElement[bool] = _Answer.content["asked"].as_integer() != _Specimen.revision
    if version is not None:
        behind = or_(behind, _Answer.content["now"]["catalogue_version"].as_integer() != version)
    found = _cases(
        session,
        _both().where(_Specimen.state == OPEN, _Specimen.id > after, behind).order_by(_Specimen.id).limit(1),
    )
    return found[0] if found else None


def case_now(session: Session, key: str) -> Case:
    """A case that was read before, as it is now."""
    return _cases(session, _both().where(_Specimen.key == key))[0]
