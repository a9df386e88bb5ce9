"""The report of stored days, made by the agent's own command in a process of its own, and how far it is."""

import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from dashboard.settings import Settings, own_store

# What the command writes to its error output at each step.
STEP = re.compile(r"(\d+) of (\d+): (.+)")
LINES_KEPT = 5


@dataclass(slots=True)
class Run:
    """One report: of which days, the last step that was begun, and what else the command said."""

    days: Sequence[str]
    process: subprocess.Popen[str]
    done: int = 0
    of: int = 1
    what: str = ""
    said: list[str] = field(default_factory=list)

    @property
    def running(self) -> bool:
        """Whether it is still being made."""
        return self.process.poll() is None

    def listen(self) -> None:
        """Until the command ends."""
        for line in self.process.stderr or ():
            step = STEP.fullmatch(line.strip())
            if step:
                self.done, self.of, self.what = int(step[1]), int(step[2]), step[3]
            elif line.strip():
                self.said = [*self.said, line.strip()][-LINES_KEPT:]


@dataclass(slots=True)
class Runs:
    """The latest report of each terminal."""

    runs: dict[str, Run] = field(default_factory=dict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def start(self, settings: Settings, terminal: str, days: Sequence[str]) -> bool:
        """Begin one; False where one of the terminal is still being made."""
        with self.lock:
            before = self.runs.get(terminal)
            if before is not None and before.running:
                return False
            folder = folder_of(settings, terminal)
            shutil.rmtree(folder, ignore_errors=True)
            process = subprocess.Popen(
                command(settings, terminal, days, folder),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                text=True,
            )
            run = self.runs[terminal] = Run(days, process)
        threading.Thread(target=run.listen, daemon=True).start()
        return True


def folder_of(settings: Settings, terminal: str) -> Path:
    """Where the terminal's latest report is."""
    store = own_store(settings)
    return store.parent / f"{store.name}.reports" / terminal


def command(settings: Settings, terminal: str, days: Sequence[str], folder: Path) -> list[str]:
    """The command, which gives way to the watch where the system knows how."""
    way = [nice, "-n", "10"] if (nice := shutil.which("nice")) else []
    words = ["--store", str(settings.store), "--terminal", terminal, "--out", str(folder)]
    rules = [] if settings.rules is None else ["--rules", str(settings.rules)]
    return [*way, sys.executable, "-P", "-m", "agent", "report", *words, *rules, "--day", *days]
