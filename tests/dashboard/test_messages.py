"""What the buttons send is what the agent's own parser reads."""

import json
from dataclasses import replace
from typing import get_args

import pytest

from agent.inputs.payloads import parse
from agent.records import Acknowledge, Note, NoteKind
from dashboard.messages import acknowledge_payload, agent_time, note_payload, undo_payload
from dashboard.queries import CurrentSituation
from tests.dashboard.scenes import NOW_UNIX_S, SCENES, TERMINAL

CURRENT = CurrentSituation(terminal=TERMINAL, situation=SCENES["fine"], written_wall_unix_s=5000.0)


@pytest.mark.parametrize("kind", sorted(set(get_args(NoteKind)) - {"undo"}))
@pytest.mark.parametrize("text", [None, "Kabel übers Dach, 3 °C"])
def test_notes_are_understood(kind: NoteKind, text: str | None) -> None:
    read = parse("note", json.dumps(note_payload(NOW_UNIX_S + 0.25, kind, text)).encode())
    assert read == Note(unix_s=NOW_UNIX_S + 0.25, kind=kind, text=text, by="dashboard")


def test_a_note_that_is_taken_back_is_understood() -> None:
    read = parse("note", json.dumps(undo_payload(NOW_UNIX_S, "3f2a")).encode())
    assert read == Note(unix_s=NOW_UNIX_S, kind="undo", id="3f2a", by="dashboard")


def test_acknowledgements_are_understood() -> None:
    seen = parse("acknowledge", json.dumps(acknowledge_payload(NOW_UNIX_S, "repeak", None, None)).encode())
    assert seen == Acknowledge(unix_s=NOW_UNIX_S, rule="repeak", by="dashboard")
    body = acknowledge_payload(NOW_UNIX_S, "shade", 1800.0, "We are on it")
    quiet = parse("acknowledge", json.dumps(body).encode())
    assert isinstance(quiet, Acknowledge)
    assert (quiet.snooze_s, quiet.reason) == (1800.0, "We are on it")


@pytest.mark.parametrize(
    ("speed", "wall_unix_s", "ahead_s"), [(1.0, 5000.0, 0.0), (1.0, 5002.5, 2.5), (120.0, 5002.0, 240.0)]
)
def test_a_message_carries_the_agents_time(speed: float, wall_unix_s: float, ahead_s: float) -> None:
    assert agent_time(CURRENT, speed, wall_unix_s) == NOW_UNIX_S + ahead_s


def test_agents_time_never_runs_back_before_its_last_word() -> None:
    assert agent_time(CURRENT, 1.0, 4990.0) == NOW_UNIX_S


def test_without_a_situation_the_computers_clock_serves() -> None:
    assert agent_time(None, 120.0, 77.0) == 77.0


def test_situation_of_another_time_moves_the_message() -> None:
    later = replace(CURRENT, situation=replace(SCENES["fine"], unix_s=NOW_UNIX_S + 60.0))
    assert agent_time(later, 1.0, 5000.0) == NOW_UNIX_S + 60.0
