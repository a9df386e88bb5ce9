"""The stored plan: computed once, again when its inputs change, and never half a plan."""

import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from agent.cli import main
from agent.config import Config, load_config
from agent.errors import UsageError
from agent.extras import EXTRA_OF
from agent.plan.plan_json import plan_to_json
from agent.plan.span import Span, job_days
from agent.planning import store
from agent.planning.store import kept_plan, load_or_compute_plan, plan_file_text, plan_path
from tests.job_text import JOB_TOML

HEAVY = ("itur", "pvlib", "astropy", "scipy", "pandas")


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Config:
    """A config whose plan was computed and stored by the command."""
    path = tmp_path_factory.mktemp("job") / "van-1.toml"
    path.write_text(JOB_TOML, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "agent", "plan", str(path), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    # The booked uplink is not carried at the availability: a finding, exit code 1.
    assert done.returncode == 1 and done.stderr == ""
    config = load_config(path, {})
    stored = json.loads(plan_path(path, config.job, job_days(config.job)).read_text(encoding="utf-8"))
    printed = json.loads(done.stdout)
    # The command adds what depends on the day it is called on.
    assert set(stored["plan"].pop("findings")) <= set(printed.pop("findings"))
    assert stored["plan"] == printed
    return config


def test_stored_plan_is_read_without_what_computed_it(planned: Config) -> None:
    script = (
        "import sys; from pathlib import Path; from agent.config import load_config;"
        "from agent.planning.store import load_or_compute_plan; path = Path(sys.argv[1]);"
        "load_or_compute_plan(path, load_config(path, {}));"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, str(planned.path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_a_plan_is_valid_for_its_job_and_what_it_covers(planned: Config) -> None:
    job, path = planned.job, stored_file(planned)
    span = job_days(job)
    hours = Span(job.day.start_unix_s, job.day.end_unix_s)
    assert kept_plan(path, job, span) == kept_plan(path, job, hours)
    assert kept_plan(path, job, hours) is not None
    other = replace(job, antenna=replace(job.antenna, pointing_loss_db=0.31))
    assert kept_plan(path, other, hours) is None
    assert kept_plan(path, job, replace(span, end_unix_s=span.end_unix_s + 1.0)) is None


def test_a_computer_without_the_libraries_takes_the_plan_of_another(
    planned: Config, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their names are made unknown; nothing else tells such a computer from this one."""
    monkeypatch.setattr(store, "COMPUTING_LIBRARIES", ("numpy", "no_such_library"))
    monkeypatch.setitem(EXTRA_OF, "no_such_library", "plan")  # type: ignore[arg-type]
    with pytest.raises(UsageError, match=r"pip install 'peakshade\[plan\]', or copy .*plan.json"):
        load_or_compute_plan(tmp_path / "van-1.toml", planned)
    copied = stored_file(planned)
    (tmp_path / copied.name).write_text(
        plan_file_text(planned.job, load_or_compute_plan(planned.path, planned)), encoding="utf-8"
    )
    assert load_or_compute_plan(tmp_path / "van-1.toml", planned).terminal == "van-1"


def stored_file(config: Config) -> Path:
    return plan_path(config.path, config.job, job_days(config.job))


@pytest.mark.parametrize("damage", ["half", "empty", "other job", "no plan"])
def test_damaged_file_costs_a_computation(planned: Config, damage: str) -> None:
    path = stored_file(planned)
    whole = path.read_text(encoding="utf-8")
    content = json.loads(whole)
    broken = {
        "half": whole[: len(whole) // 2],
        "empty": "",
        "other job": json.dumps(content | {"job": "0" * 64}),
        "no plan": json.dumps(content | {"plan": {"terminal": "van-1"}}),
    }[damage]
    path.write_text(broken, encoding="utf-8")
    plan = load_or_compute_plan(planned.path, planned)
    assert plan_to_json(plan) == content["plan"]
    assert json.loads(path.read_text(encoding="utf-8")) == content
    assert [one.name for one in path.parent.iterdir() if one.suffix == ".tmp"] == []


def test_plan_that_cannot_be_kept_is_still_given(planned: Config, tmp_path: Path) -> None:
    # A folder that does not exist stands for one that cannot be written (root may write anywhere).
    plan = load_or_compute_plan(tmp_path / "gone" / "van-1.toml", planned)
    assert plan.terminal == "van-1"


def test_a_process_that_dies_is_told_in_one_line(
    tmp_path: Path, planned: Config, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A broken library in the way, as a full disk leaves one behind."""
    (tmp_path / "itur.py").write_text("raise RuntimeError('half a file')\n", encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    path = tmp_path / "van-1.toml"
    path.write_text(JOB_TOML, encoding="utf-8")
    assert main(["plan", str(path)]) == 2
    said = capsys.readouterr().err
    assert "could not be computed (its process ended with 1: RuntimeError: half a file)" in said
    assert len(said.splitlines()) == 1
