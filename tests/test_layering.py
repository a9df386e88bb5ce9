"""Imports point one way, the core is pure, and the live agent stays light."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SOURCES = sorted(path for top in ("agent", "dashboard") for path in (ROOT / top).rglob("*.py"))

PLANNED = (
    "agent.planning.sun_answer", "agent.planning.sun_part", "agent.planning.link_part",
    "agent.planning.compute",
)  # fmt: skip
# Low to high: a module may import from its own layer and from those before it.
LAYERS = (
    ("agent.errors", "agent.event_loop", "agent.extras", "agent.records", "agent.job", "agent.clock",
        "agent.wording"),
    ("agent.link_plan", "agent.sun_pass", "agent.throughput"),
    ("agent.plan", "agent.heat"),
    PLANNED,
    ("agent.watch", "agent.notify"),
    (
        "agent.config", "agent.config_check", "agent.config_desk", "agent.config_job", "agent.config_notify",
        "agent.config_slips", "agent.config_template",
    ),
    ("agent.store", "agent.inputs", "agent.forward"),
    ("agent.planning", "agent.replay", "agent.report", "agent.sheet"),
    ("agent.service", "agent.desk"),
    ("agent.commands",),
    ("agent.cli",),
)  # fmt: skip
PURE = (
    "agent.errors", "agent.records", "agent.job", "agent.wording", "agent.link_plan", "agent.sun_pass",
    "agent.throughput",
    "agent.plan", "agent.heat", *PLANNED, "agent.watch", "agent.notify",
)  # fmt: skip
OUTSIDE = {
    "asyncio", "io", "logging", "os", "pathlib", "random", "secrets", "shutil", "socket", "sqlite3",
    "subprocess", "sys", "tempfile", "threading", "time", "urllib", "aiomqtt", "paho",
}  # fmt: skip
HEAVY = ("pandas", "plotly", "dash", "itur", "pvlib", "scipy", "astropy")


def module_name(path: Path) -> str:
    """Dotted name of the module in `path`."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(tree: ast.AST) -> Iterator[str]:
    """Dotted names that `tree` imports from."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import"
            yield node.module or ""


def belongs(name: str, roots: tuple[str, ...]) -> bool:
    """Whether the module is one of `roots` or inside one."""
    return any(name == root or name.startswith(f"{root}.") for root in roots)


def layer(name: str) -> int | None:
    """Position of the module's layer, by the longest name; None for the bare packages and entry points."""
    places = {root: place for place, roots in enumerate(LAYERS) for root in roots if belongs(name, (root,))}
    return places[max(places, key=len)] if places else None


@pytest.mark.parametrize("path", SOURCES, ids=module_name)
def test_imports_point_one_way(path: Path) -> None:
    own = layer(module_name(path))
    for name in imports(ast.parse(path.read_text())):
        if module_name(path).startswith("agent"):
            assert not belongs(name, ("dashboard",)), f"the agent imports {name}"
        other = layer(name)
        if own is not None and other is not None:
            assert other <= own, f"imports {name} from a higher layer"


@pytest.mark.parametrize("path", SOURCES, ids=module_name)
def test_plan_and_heat_do_not_know_each_other(path: Path) -> None:
    """`agent.planning.compute` joins them."""
    for one, other in (("agent.plan", "agent.heat"), ("agent.heat", "agent.plan")):
        if belongs(module_name(path), (one,)):
            assert not [name for name in imports(ast.parse(path.read_text())) if belongs(name, (other,))]


def test_every_agent_module_has_a_layer() -> None:
    bare = {"agent", "agent.__main__"}
    assert {module_name(path) for path in SOURCES if path.parts[-2] == "agent"} - bare <= {
        name for roots in LAYERS for name in roots
    }


@pytest.mark.parametrize("path", [p for p in SOURCES if belongs(module_name(p), PURE)], ids=module_name)
def test_core_is_pure(path: Path) -> None:
    tops = {name.split(".")[0] for name in imports(ast.parse(path.read_text()))}
    assert not tops & OUTSIDE


@pytest.mark.parametrize("path", SOURCES, ids=module_name)
def test_no_own_imports_inside_functions(path: Path) -> None:
    functions = [
        node
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]
    hidden = {name for node in functions for name in imports(node) if belongs(name, ("agent", "dashboard"))}
    assert not hidden


@pytest.mark.parametrize("module", ["agent.service", "agent.watch.engine", "agent.cli"])
def test_live_agent_is_light(module: str) -> None:
    """Checked in a process of its own, since other tests import the heavy libraries."""
    script = f"import sys, {module}; print(*[name for name in {HEAVY} if name in sys.modules])"
    found = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert found.stdout.split() == []


@pytest.mark.parametrize("path", sorted((ROOT / "agent" / "watch").rglob("*.py")), ids=module_name)
def test_each_module_of_the_watch_begins_with_what_it_decides(path: Path) -> None:
    assert path.read_text().startswith('"""Decides')


@pytest.mark.parametrize("path", SOURCES, ids=module_name)
def test_modules_stay_small(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= 400
