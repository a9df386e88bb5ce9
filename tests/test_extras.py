"""What each extra brings, and what is said where one is missing."""

import ast
import re
import subprocess
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from agent.extras import EXTRA_OF
from tests.test_layering import ROOT, SOURCES, imports

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
# A process in which some libraries cannot be found, as on a computer that has the base alone.
WITHOUT = """
import sys
sys.modules.update(dict.fromkeys({missing!r}))
from agent.cli import main
sys.exit(main(sys.argv[1:]))
"""


def named(requirements: list[str]) -> set[str]:
    """Distributions without their versions."""
    return {re.split("[^a-z0-9-]", one.lower())[0] for one in requirements}


def distributions_of(module: str) -> set[str]:
    found = packages_distributions().get(module, [])
    return {name.lower().replace("_", "-") for name in found}


def third_parties() -> set[str]:
    """Everything imported of agent and dashboard that is neither theirs nor Python's own."""
    names = {name.split(".")[0] for path in SOURCES for name in imports(ast.parse(path.read_text()))}
    return names - set(sys.stdlib_module_names) - {"agent", "dashboard", "__future__", "_typeshed"}


@pytest.mark.parametrize("module", sorted(third_parties() | set(EXTRA_OF)))
def test_everything_imported_is_declared(module: str) -> None:
    extra = EXTRA_OF.get(module)
    declared = PROJECT["dependencies"] if extra is None else PROJECT["optional-dependencies"][extra]
    assert distributions_of(module) & named(declared)


def test_all_are_all() -> None:
    (one,) = PROJECT["optional-dependencies"]["all"]
    assert set(one.partition("[")[2].rstrip("]").split(",")) == set(EXTRA_OF.values())


def base_alone(*words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    script = WITHOUT.format(missing=set(EXTRA_OF) | {"scipy", "astropy"})
    environment = {"PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": str(cwd)}
    return subprocess.run(
        [sys.executable, "-c", script, *words], capture_output=True, text=True, cwd=cwd, env=environment
    )


def test_a_base_install_replays_a_bundled_day(tmp_path: Path) -> None:
    done = base_alone("replay", "salt-pan-summer", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "repeak" in done.stdout


def test_a_command_whose_extra_is_missing_says_how_to_install_it(tmp_path: Path) -> None:
    done = base_alone("report", "salt-pan-summer", cwd=tmp_path)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line.endswith("install it: pip install 'peakshade[report]'")
