"""How the dashboard is put together: who reads the store, and that importing it does nothing."""

import ast
import subprocess
import sys
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "dashboard"


def imported(path: Path) -> set[str]:
    """Names of the modules, and of what is taken from them."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def test_only_the_queries_open_the_store() -> None:
    opening = {"sqlite3", "agent.store.opening.open_for_reading"}
    readers = {path.name for path in FOLDER.rglob("*.py") if imported(path) & opening}
    assert readers == {"queries.py"}


def test_nothing_of_the_writer_is_within_reach() -> None:
    for path in FOLDER.rglob("*.py"):
        assert not {name for name in imported(path) if name.startswith("agent.store.writer")}, path


def test_only_the_tuning_page_replays() -> None:
    """All other pages show what the agent found; they decide nothing themselves."""
    deciding = (
        "agent.replay.tuning", "agent.replay.replaying", "agent.watch.engine", "agent.watch.rule_set",
        "agent.watch.rule_stage",
    )  # fmt: skip
    found = {
        path.relative_to(FOLDER).as_posix()
        for path in FOLDER.rglob("*.py")
        if any(n.startswith(deciding) for n in imported(path))
    }
    assert found == {"page_data/tuning.py", "figures/tuning.py", "pages/tuning_parts.py"}


def test_callbacks_are_short() -> None:
    """A function that is registered as a callback has at most ten lines besides its docstring."""
    for path in (FOLDER / "pages").glob("*.py"):
        tree = ast.parse(path.read_text())
        called = {node.args[0].id for node in ast.walk(tree) if is_registration(node)}
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and node.name in called:
                first, last = node.body[1], node.body[-1]
                assert (last.end_lineno or 0) - first.lineno + 1 <= 10, f"{path.name}: {node.name}"


def is_registration(node: ast.AST) -> bool:
    """Is it `app.callback(...)(function)`?"""
    return (
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Call)
        and isinstance(node.func.func, ast.Attribute)
        and node.func.func.attr == "callback"
        and isinstance(node.args[0], ast.Name)
    )


def test_importing_the_app_reads_and_starts_nothing(tmp_path: Path) -> None:
    """In an empty folder, where any file that an import opened for writing would show."""
    code = "import threading, dashboard.app; assert threading.active_count() == 1"
    environment = {"PYTHONPATH": str(FOLDER.parent)}
    subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=environment, check=True)
    assert list(tmp_path.iterdir()) == []
