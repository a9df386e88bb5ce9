"""Files in the working folder with the names of modules do not run."""

import os
import stat
import subprocess
import sys
from pathlib import Path

from agent.commands.check import check_rights
from agent.config import load_config
from agent.planning.store import load_or_compute_plan
from agent.store.writer import StoreWriter
from tests.job_text import JOB_TOML

ROOT = Path(__file__).resolve().parent.parent
NAMES = ("agent", "dashboard", "pydantic", "numpy", "dash", "itur", "json")


def test_nothing_of_the_working_folder_runs(tmp_path: Path) -> None:
    """Regression: an `agent.py` beside the config ran when the plan was computed."""
    for name in NAMES:
        (tmp_path / f"{name}.py").write_text(f"open({str(tmp_path / 'ran')!r}, 'a').write({name!r})\n")
    (tmp_path / "job.toml").write_text(JOB_TOML, encoding="utf-8")
    command = [str(Path(sys.executable).with_name("peakshade")), "plan", "job.toml"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert "azimuth" in done.stdout.lower(), done.stderr
    assert not (tmp_path / "ran").exists(), (tmp_path / "ran").read_text()


def test_every_program_of_ours_is_started_without_the_working_folder() -> None:
    found = [
        line
        for top in ("agent", "dashboard")
        for path in (ROOT / top).rglob("*.py")
        for line in path.read_text().splitlines()
        if "sys.executable" in line and '"-m"' in line
    ]
    assert len(found) >= 2
    assert all('sys.executable, "-P", "-m"' in line for line in found)


def test_what_the_agent_writes_is_nobody_elses(tmp_path: Path) -> None:
    """Whatever the rights that the shell gives to new files; `check` names what is open to others."""
    config = tmp_path / "job.toml"
    config.write_text(JOB_TOML, encoding="utf-8")
    store = tmp_path / "peakshade.sqlite3"
    before = os.umask(0)
    try:
        load_or_compute_plan(config, load_config(config, {}))
        StoreWriter.open(store, "van-1", 0.0).close()
    finally:
        os.umask(before)
    made = [store, *tmp_path.glob("*.plan.json")]
    assert [stat.S_IMODE(path.stat().st_mode) for path in made] == [0o600, 0o600]
    assert list(check_rights(load_config(config, {}))) == []
    store.chmod(0o640)
    (found,) = check_rights(load_config(config, {}))
    assert (found.fine, str(store) in found.text, "chmod 600" in found.text) == (False, True, True)
