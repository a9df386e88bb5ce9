"""What the tests of the rules notice: `python -m tests.bench.mutations [all]`.

Simple faults are put one at a time into a copy of the rules and the rule stage, and the quick tests that
concern rules run on each: comparisons turned, numbers half as large again, terms, clauses and inhibitions
dropped, names swapped. It prints caught of tried, and what was not caught. A sample with a fixed seed
unless `all` is asked for.
The ranges that a rules file is held to are left alone, and so are reasons and labels.
"""

import ast
import os
import random
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy  # noqa: F401
import pydantic  # noqa: F401
import pytest

from agent.watch.features import Features
from agent.watch.rules import RULES

ROOT = Path(__file__).parents[2]
SAMPLE = 50
SEED = 14
TESTS = ("test_told.py", "test_features.py", "test_rules.py", "test_truth_table.py", "test_situations.py")
OPTIONS = ("-q", "-x", "-p", "no:randomly", "-p", "no:cacheprovider")
SLOW = "not never_fine and not undo and not less_than_its_threshold"
COMPARISONS = {">=": "<", "<": ">=", ">": "<=", "<=": ">", "==": "!=", "!=": "==", "is": "is not"}
SIGNS = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.BitOr: "&"}
CALLS = {"at_least": "at_most", "at_most": "at_least", "max": "min", "min": "max", "any": "all", "all": "any"}
SYMBOLS = {
    ast.GtE: ">=",
    ast.Lt: "<",
    ast.Gt: ">",
    ast.LtE: "<=",
    ast.Eq: "==",
    ast.NotEq: "!=",
    ast.Is: "is",
}
WORDS = {"act": "urgent", "urgent": "act", "advise": "act"}


@dataclass(frozen=True, slots=True)
class Mutation:
    """One fault: in this file, what stands between two places of its text becomes something else."""

    path: Path
    kind: str
    line: int
    start: int
    end: int
    text: str

    def applied(self, source: str) -> str:
        """The source with the fault."""
        return source[: self.start] + self.text + source[self.end :]


class Finder:
    """All faults of one file. `ast` counts columns in bytes: these sources are cut as bytes are counted."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.source = path.read_text(encoding="utf-8")
        lines = self.source.splitlines(keepends=True)
        self.starts = [sum(map(len, lines[:index])) for index in range(len(lines) + 1)]
        self.lines = lines

    def place(self, line: int, column: int) -> int:
        text = self.lines[line - 1].encode()[:column].decode()
        return self.starts[line - 1] + len(text)

    def at(self, node: ast.expr, kind: str, text: str) -> Mutation:
        start = self.place(node.lineno, node.col_offset)
        end = self.place(node.end_lineno or node.lineno, node.end_col_offset or 0)
        return Mutation(self.path, kind, node.lineno, start, end, text)

    def found(self) -> Iterator[Mutation]:
        tree = ast.parse(self.source)
        spared = {id(part) for node in ast.walk(tree) for part in _spared(node)}
        for node in ast.walk(tree):
            if id(node) in spared:
                continue
            yield from self._turned(node)
            yield from self._changed(node)
            yield from self._dropped(node)
            yield from self._swapped(node)

    def _turned(self, node: ast.AST) -> Iterator[Mutation]:
        """Comparisons, signs and logic."""
        match node:
            case ast.Compare(ops=[op]) if type(op) in SYMBOLS:
                yield self._between(node.left, node.comparators[0], COMPARISONS[SYMBOLS[type(op)]])
            case ast.BinOp(op=op) if type(op) in SIGNS:
                yield self._between(node.left, node.right, SIGNS[type(op)])
            case ast.BoolOp(op=op):
                word = "or" if isinstance(op, ast.And) else "and"
                yield self._between(node.values[0], node.values[1], word)
            case ast.UnaryOp(op=ast.Not()):
                yield self.at(node, "not dropped", ast.unparse(node.operand))

    def _changed(self, node: ast.AST) -> Iterator[Mutation]:
        """Numbers, sides, severities and features."""
        match node:
            case ast.Constant(value=bool()):
                return
            case ast.Constant(value=float() | int() as value):
                yield self.at(node, "number", repr(value * 1.5 or 1.0))
            case ast.Call(func=ast.Name(id=name)) if name in CALLS:
                yield self.at(node.func, "side or name", CALLS[name])
            case ast.Constant(value=str(value)) if value in WORDS:
                yield self.at(node, "severity", repr(WORDS[value]))
            case ast.Constant(value=str(value)) if value in Features._fields:
                other = Features._fields[(Features._fields.index(value) + 1) % len(Features._fields)]
                yield self.at(node, "feature", repr(other))

    def _between(self, left: ast.expr, right: ast.expr, text: str) -> Mutation:
        start = self.place(left.end_lineno or 0, left.end_col_offset or 0)
        end = self.place(right.lineno, right.col_offset)
        between = self.source[start:end]
        closing, opening = between.count(")"), between.count("(")
        word = f"{')' * closing} {text} {'(' * opening}"
        return Mutation(self.path, "comparison or sign", left.lineno, start, end, word)

    def _dropped(self, node: ast.AST) -> Iterator[Mutation]:
        """Terms of a clause, clauses, ways to clear, inhibitions, things said: each left out."""
        if isinstance(node, ast.Tuple) and len(node.elts) > 1 and not isinstance(node.ctx, ast.Store):
            for one in node.elts:
                if isinstance(one, ast.Call | ast.Tuple) and not _is_parameter(one):
                    rest = ", ".join(ast.unparse(other) for other in node.elts if other is not one)
                    yield self.at(node, "dropped " + ast.unparse(one)[:50], f"({rest},)")
        if isinstance(node, ast.keyword) and node.arg == "inhibitions" and isinstance(node.value, ast.Dict):
            for key in node.value.keys:
                pairs = zip(node.value.keys, node.value.values, strict=True)
                rest = ", ".join(
                    f"{ast.unparse(k)}: {ast.unparse(v)}" for k, v in pairs if k and k is not key
                )
                yield self.at(
                    node.value, f"dropped inhibition {ast.unparse(key or node.value)}", f"{{{rest}}}"
                )

    def _swapped(self, node: ast.AST) -> Iterator[Mutation]:
        """Two arguments or attributes of the same thing exchanged: the next one that the file reads."""
        if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Load) and node.attr in self._names:
            names = self._names
            other = names[(names.index(node.attr) + 1) % len(names)]
            if other != node.attr:
                yield self.at(node, "name", f"{ast.unparse(node.value)}.{other}")

    @property
    def _names(self) -> list[str]:
        """Figures and flags that the file reads off a view or a state, by name."""
        owners = ("unit", "state", "view.signal", "view.rate", "view.link", "view.features", "link", "rate")
        read = {
            node.attr
            for node in ast.walk(ast.parse(self.source))
            if isinstance(node, ast.Attribute) and ast.unparse(node.value) in owners
        }
        return sorted(read)


def _is_parameter(node: ast.expr) -> bool:
    return isinstance(node, ast.Call) and ast.unparse(node.func) in ("Parameter", "timing")


def _spared(node: ast.AST) -> Iterator[ast.AST]:
    """What is no fault to change: the ranges of parameters, and the types of names."""
    match node:
        case ast.Call(func=ast.Name(id="Parameter")):
            yield from node.args[3:5]
        case ast.AnnAssign() | ast.arg():
            if node.annotation:
                yield from ast.walk(node.annotation)
        case ast.FunctionDef(returns=ast.expr() as returns):
            yield from ast.walk(returns)


def mutations(root: Path) -> list[Mutation]:
    """All faults, in a fixed order."""
    watch = root / "agent" / "watch"
    left_out = ("__init__.py", "rule.py")
    paths = [path for path in sorted((watch / "rules").glob("*.py")) if path.name not in left_out]
    return [one for path in [*paths, watch / "rule_stage.py"] for one in Finder(path).found()]


def passes(root: Path, concerning: str) -> bool:
    """Whether the quick tests whose names match pass in this copy, in a fork that has the libraries."""
    child = os.fork()
    if not child:
        os.chdir(root)
        sys.path.insert(0, str(root))
        for name in [name for name in sys.modules if name.partition(".")[0] in ("agent", "tests")]:
            del sys.modules[name]
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.dup2(nowhere, sys.stderr.fileno())
        tests = [f"tests/watch/{name}" for name in TESTS]
        os._exit(pytest.main([*OPTIONS, "-k", concerning, *tests]))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0


def tried(one: Mutation, root: Path) -> bool:
    """Whether the tests catch the fault; the copy is as before afterwards."""
    source = one.path.read_text(encoding="utf-8")
    one.path.write_text(one.applied(source), encoding="utf-8")
    own = one.path.stem.replace("_", "-")
    # First what names the rule: most faults are caught there.
    first = f"test_told or {own}" if own in RULES else "test_told or course or waits or threshold_set"
    caught = not passes(root, first) or not passes(root, SLOW)
    one.path.write_text(source, encoding="utf-8")
    return caught


def main() -> None:
    """Print caught of tried, and the survivors."""
    sys.dont_write_bytecode = True  # a fault of the same length within a second would go unread
    with tempfile.TemporaryDirectory() as parent:
        root = Path(parent)
        for name in ("agent", "dashboard", "tests", "replay_data"):
            shutil.copytree(ROOT / name, root / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", root)
        if not passes(root, SLOW):
            raise SystemExit("the tests fail without any fault; mend them first")
        found = mutations(root)
        chosen = found if sys.argv[1:] == ["all"] else random.Random(SEED).sample(found, SAMPLE)
        kinds: Counter[bool] = Counter()
        for number, one in enumerate(chosen, 1):
            caught = tried(one, root)
            kinds[caught] += 1
            if not caught:
                print(f"not caught  {one.path.name}:{one.line}  {one.kind}: {one.text[:60]}", flush=True)
            if not number % 10:
                print(f"caught {kinds[True]} of {number}", flush=True)
        print(f"caught {kinds[True]} of {len(chosen)} tried ({len(found)} in all)")


if __name__ == "__main__":
    main()
