"""Reads out of the source which codes are given to a `Reason`, following names to what they stand for."""

import ast
import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

Function = ast.FunctionDef | ast.AsyncFunctionDef
HELP = {"help", "metavar", "epilog", "about", "description"}  # what a command tells about itself stands in the command


@dataclass(frozen=True)
class Given:
    """One `Reason(…)` in the source: its line and each code it may be given; none where nobody can tell."""

    line: int
    codes: frozenset[str]


def given_reasons(path: Path) -> list[Given]:
    """Every `Reason(…)` of this file.

    A code may be written there, or be a name that the same file gives a text: by an assignment, by a loop
    over texts that are written out, or by the calls of the function whose argument it is.
    """
    source = _Source(ast.parse(path.read_text()))
    return [Given(call.lineno, frozenset(source.texts(call.args[0], call))) for call in source.calls("Reason")]


def sentences(path: Path) -> list[str]:
    """Every sentence that is written out in this file: two words or more that begin with a capital letter and end as
    a sentence does, and whatever is given to a `CommandError` as text. Docstrings and help are none."""
    source = _Source(ast.parse(path.read_text()))
    refused = {call.args[0] for call in source.calls("CommandError") if call.args}
    found = []
    for node in ast.walk(source.tree):
        text = _written(node)
        if text is None or isinstance(source.above[node], ast.JoinedStr) or source.is_help(node):
            continue
        words = re.findall(r"[^\W\d_]{2,}", text)
        ends = re.match(r"\s*[“\"(]?[A-Z]", text) and re.search(r"[.!?…:][\s)]*$", text)
        if len(words) > 1 and (ends or node in refused):
            found.append(f"{node.lineno}: {text.strip()}")
    return found


def _written(node: ast.AST) -> str | None:
    """The text of a literal, each value that is filled in as {}."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
    return None


class _Source:
    def __init__(self, tree: ast.Module) -> None:
        self.tree = tree
        self.above = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}

    def is_help(self, node: ast.AST) -> bool:
        """Whether this literal is a docstring or belongs to what a command tells about itself."""
        if isinstance(self.above.get(node), ast.Expr):
            return True
        while node in self.above:
            match above := self.above[node]:
                case ast.keyword(arg=str(name)) | ast.Assign(targets=[ast.Name(id=name)]):
                    if name.strip("_").lower() in HELP:
                        return True
            if isinstance(above, ast.stmt):
                return False
            node = above
        return False

    def calls(self, name: str) -> Iterator[ast.Call]:
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Call) and name in (
                getattr(node.func, "id", 0),
                getattr(node.func, "attr", 0),
            ):
                yield node

    def texts(self, node: ast.expr, place: ast.AST) -> set[str]:
        """The texts that this expression may be at this place; none where one of its parts cannot be told."""
        match node:
            case ast.Constant(value=str(text)):
                return {text}
            case ast.IfExp(body=one, orelse=other):
                return self._all([one, other], place)
            case ast.JoinedStr(values=parts):
                return {"".join(texts) for texts in itertools.product(*(self.texts(p, place) for p in parts))}
            case ast.FormattedValue(value=inside):
                return self.texts(inside, place)
            case ast.Name(id=name):
                return self._named(name, place)
        return set()

    def _all(self, nodes: list[ast.expr], place: ast.AST) -> set[str]:
        found = [self.texts(node, place) for node in nodes]
        return set().union(*found) if all(found) else set()

    def _named(self, name: str, place: ast.AST) -> set[str]:
        scope = place
        while scope in self.above:
            scope = self.above[scope]
            if isinstance(scope, Function | ast.Module):
                values = [value for node in ast.walk(scope) for value in _values(node, name)]
                if isinstance(scope, Function):
                    values += self._arguments(scope, name)
                if values:
                    return self._all(values, scope)
        return set()

    def _arguments(self, function: Function, name: str) -> list[ast.expr]:
        """What the calls of this function in this file give for the argument of that name."""
        names = [argument.arg for argument in function.args.posonlyargs + function.args.args]
        if name not in names + [argument.arg for argument in function.args.kwonlyargs]:
            return []
        bound = names[:1] in (["self"], ["cls"])
        found = []
        for call in self.calls(function.name):
            found += [keyword.value for keyword in call.keywords if keyword.arg == name]
            found += [value for given, value in zip(names[bound:], call.args, strict=False) if given == name]
        return found


def _values(node: ast.AST, name: str) -> Iterator[ast.expr]:
    """What this node, an assignment or a loop, gives to the name."""
    match node:
        case ast.Assign(targets=[target], value=value) | ast.AnnAssign(target=target, value=ast.expr() as value):
            yield from _matched(target, value, name)
        case (
            ast.For(target=target, iter=ast.Tuple(elts=items) | ast.List(elts=items))
            | ast.comprehension(target=target, iter=ast.Tuple(elts=items) | ast.List(elts=items))
        ):
            for item in items:
                yield from _matched(target, item, name)


def _matched(target: ast.expr, value: ast.expr, name: str) -> Iterator[ast.expr]:
    match target, value:
        case ast.Name(id=found), _ if found == name:
            yield value
        case ast.Tuple(elts=targets), ast.Tuple(elts=values):
            for one, given in zip(targets, values, strict=False):
                yield from _matched(one, given, name)
