"""Files in the working folder with the names of modules do not run."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.job_text import JOB_TOML
from tests.processes import PATIENCE_S, free_port, listens, wait_until

NAMES = ("agent", "dashboard", "pydantic", "numpy", "dash", "itur", "json")


@pytest.mark.timeout(300)
def test_nothing_of_the_working_folder_runs(tmp_path: Path) -> None:
    """Regression: an `agent.py` beside the config ran when the plan was computed."""
    for name in NAMES:
        (tmp_path / f"{name}.py").write_text(f"open({str(tmp_path / 'ran')!r}, 'a').write({name!r})\n")
    port, page = free_port(), free_port()
    own = f"[broker]\nport = {port}\n[dashboard]\nport = {page}\n"
    (tmp_path / "job.toml").write_text(f"{JOB_TOML}\n{own}", encoding="utf-8")
    command = [str(Path(sys.executable).with_name("peakshade")), "run", "job.toml"]
    process = subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_until(lambda: listens(port) and listens(page), PATIENCE_S, "agent and page listen")
    finally:
        process.terminate()
        process.wait(30.0)
    assert not (tmp_path / "ran").exists(), (tmp_path / "ran").read_text()
