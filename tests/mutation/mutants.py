"""Small defects of a module: its syntax tree with one realistic mistake."""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}

ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.MatMult: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}

NOT_RUN = ("returns", "annotation", "type_comment")
"""Fields of nodes that hold types only."""

TYPES = ("Literal", "Annotated", "Callable", "tuple", "dict", "list")
"""Names before the bracket of a type."""

EFFECTS = ast.Expr | ast.Raise | ast.AugAssign | ast.Continue | ast.Break | ast.Delete
"""Statements that can be removed without leaving a name undefined."""

Place = tuple[str, int | None]
"""From a node to a child: the field's name, and the index where the field is a list."""


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """One change of a module."""

    line: int
    before: str
    after: str
    function: tuple[str, int] | None
    """Qualified name and first line of the outermost function whose body holds the change; None outside of any."""
    path: tuple[Place, ...]
    replacement: ast.AST | None = field(repr=False)
    """The replacement of the node; None removes the node from its list."""

    def tree(self, source: str) -> ast.Module:
        """The module's tree with this change."""
        module = ast.parse(source)
        node: ast.AST = module
        for name, index in self.path[:-1]:
            node = getattr(node, name) if index is None else getattr(node, name)[index]
        name, index = self.path[-1]
        if index is None:
            setattr(node, name, self.replacement)
        else:
            getattr(node, name)[index : index + 1] = [] if self.replacement is None else [self.replacement]
        return ast.fix_missing_locations(module)

    def __str__(self) -> str:
        return f"{self.line}: {self.before}  →  {self.after}"


@dataclass(frozen=True)
class _Where:
    """The path from the module to a node."""

    path: tuple[Place, ...] = ()
    classes: tuple[str, ...] = ()
    function: tuple[str, int] | None = None
    line: int = 0


def mutants(source: str) -> Iterator[Mutant]:
    """All mutants of a module's text, in the order of the text."""
    yield from _below(ast.parse(source), _Where())


def _below(node: ast.AST, where: _Where) -> Iterator[Mutant]:
    for name, value in ast.iter_fields(node):
        if name in NOT_RUN:
            continue
        inside = where
        if name == "body" and isinstance(node, ast.ClassDef):
            inside = replace(where, classes=(*where.classes, node.name))
        elif name == "body" and where.function is None and isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = min(node.lineno, *(each.lineno for each in [node, *node.decorator_list]))
            inside = replace(where, function=(".".join((*where.classes, node.name)), first))
        for index, child in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(child, ast.AST) and not _is_kept(child):
                line = getattr(child, "lineno", where.line)
                here = replace(inside, path=(*where.path, (name, index)), line=line)
                for replacement in _changes(child, node, name):
                    yield Mutant(
                        line=line,
                        before=_text(child, node),
                        after="(left out)" if replacement is None else _text(replacement, node),
                        function=here.function,
                        path=here.path,
                        replacement=replacement,
                    )
                yield from _below(child, here)


def _is_kept(node: ast.AST) -> bool:
    """Whether a node is left unchanged: imports, texts, types, code for type checkers, and options of a dataclass."""
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        return True
    if isinstance(node, ast.Call) and ast.unparse(node.func) == "dataclass":
        return True
    if isinstance(node, ast.Subscript) and ast.unparse(node.value) in TYPES:
        return True
    return isinstance(node, ast.Import | ast.ImportFrom | ast.JoinedStr)


def _changes(node: ast.AST, parent: ast.AST, name: str) -> Iterator[ast.AST | None]:
    """Possible replacements of a node; None removes it from its list."""
    match node:
        case ast.cmpop():
            yield from (other() for other in COMPARISONS[type(node)])
        case ast.operator() if type(node) in ARITHMETIC:
            yield ARITHMETIC[type(node)]()
        case ast.And():
            yield ast.Or()
        case ast.Or():
            yield ast.And()
        case ast.BoolOp(op=op, values=values):
            for left_out in values:
                kept = [value for value in values if value is not left_out]
                yield kept[0] if len(kept) == 1 else ast.BoolOp(op, kept)
        case ast.UnaryOp(op=ast.Not() | ast.USub(), operand=operand):
            yield operand
        case ast.Constant(value=bool(value)):
            yield ast.Constant(not value)
        case ast.Constant(value=int(value)):
            yield ast.Constant(value + 1)
        case ast.Constant(value=float(value)):
            yield ast.Constant(value * 2 if value else 1.0)
        case ast.Expr(value=ast.Constant() | ast.Yield() | ast.YieldFrom()):
            pass
        case ast.Return(value=ast.expr() as value) if ast.unparse(value) != "None":
            yield ast.Return(ast.Constant(None))
        case _ if isinstance(node, EFFECTS):
            yield ast.Pass()
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
            yield ast.Pass()
    turned = isinstance(node, ast.Compare | ast.UnaryOp)  # by their operator
    if isinstance(node, ast.expr) and name in ("test", "ifs") and not turned:
        yield ast.UnaryOp(ast.Not(), node)
    shown = isinstance(parent, ast.List | ast.Tuple) and name == "elts" and isinstance(parent.ctx, ast.Load)
    if shown or name in ("ifs", "keywords", "decorator_list"):
        yield None
    if name == "defaults" and isinstance(parent, ast.arguments):
        yield from (other for other in parent.defaults if ast.dump(other) != ast.dump(node))


def _text(node: ast.AST, parent: ast.AST) -> str:
    """The source text of a node; for an operator, with its operands."""
    match node, parent:
        case ast.cmpop(), ast.Compare(left=left, comparators=[first, *_]):
            node = ast.Compare(left, [node], [first])
        case ast.operator() | ast.boolop(), _:
            whole = copy.copy(parent)
            whole.op = node  # type: ignore[attr-defined]
            node = whole
    return " ".join(ast.unparse(node).split())[:100]
