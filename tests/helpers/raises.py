"""Errors of the sources whose words no catalogue can hold: plain text where `said` is wanted."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from pipeline.base import errors

#: Kinds of errors that people are shown.
KINDS = {
    name
    for name, kind in vars(errors).items()
    if isinstance(kind, type) and issubclass(kind, errors.LostpolError)
}
#: What is made of texts the same way: signs of health, faults of a description, answers.
ALIKE = {"Sign", "Fault", "Answer", "Unread", "Mended"}
#: Calls that give text which remembers how it was made, or what is no word of ours.
_SAID = {"said", "counted", "joined", "figure", "stored", "str", "repr", "clean", "compile"}
#: Methods whose arguments are taken out of a text.
_CUT = {"replace", "removeprefix", "removesuffix", "split", "partition"}
#: Two words in a row; an option or a key alone is typed as it stands.
_PROSE = re.compile(r"(?<![-\w./])[A-Za-z']{2,},? [a-z(]{2,}")


def untold(source: str) -> Iterator[tuple[int, str]]:
    """Line and text of each word in an error that can be said in no other tongue."""
    tree = ast.parse(source)
    named = _named(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _called(node) in KINDS | ALIKE:
            for argument in [*node.args, *(keyword.value for keyword in node.keywords)]:
                seen: set[str] = set()
                yield from ((node.lineno, text) for text in _plain(argument, named, seen))


def _named(tree: ast.Module) -> dict[str, list[ast.expr]]:
    """What a name of a module stands for, wherever it was given; of a function, what it gives."""
    named: dict[str, list[ast.expr]] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            given = [n.value for n in ast.walk(node) if isinstance(n, ast.Return) and n.value]
            named.setdefault(node.name, []).extend(given)
        targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
        if isinstance(node, ast.Assign | ast.AnnAssign | ast.AugAssign) and node.value is not None:
            for target in targets:
                for name in target.elts if isinstance(target, ast.Tuple) else [target]:
                    if isinstance(name, ast.Name):
                        named.setdefault(name.id, []).append(node.value)
    return named


def _plain(node: ast.AST, named: dict[str, list[ast.expr]], seen: set[str]) -> Iterator[str]:
    if isinstance(node, ast.Call) and _called(node) in _SAID:
        return
    if (
        isinstance(node, ast.Call)
        and _called(node) in _CUT
        and isinstance(node.func, ast.Attribute)
    ):
        yield from _plain(node.func.value, named, seen)
        return
    if isinstance(node, ast.Name) and node.id not in seen:
        seen.add(node.id)
        for value in named.get(node.id, ()):
            yield from _plain(value, named, seen)
    text = _text(node)
    if text is not None:
        if _PROSE.search(text):
            yield text
        return
    for child in ast.iter_child_nodes(node):
        yield from _plain(child, named, seen)


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.JoinedStr):
        return "".join(p.value if isinstance(p, ast.Constant) else "{}" for p in node.values)
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def _called(node: ast.Call) -> str:
    return str(getattr(node.func, "id", getattr(node.func, "attr", "")))


def untold_in(folder: Path) -> Iterator[tuple[str, int, str]]:
    """The same for every source of a folder, by its path within it."""
    for path in sorted(folder.rglob("*.py")):
        for line, text in untold(path.read_text("utf-8")):
            yield path.relative_to(folder).as_posix(), line, text
