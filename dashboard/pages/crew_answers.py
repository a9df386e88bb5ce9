"""The crew's answers: notes by one tap, alerts seen, alerts quiet for a while, readings off a screen."""

import json
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from dash import dcc, html
from dash.development.base_component import Component
from flask import Flask, Response, jsonify, request

from agent.inputs.payloads import PayloadError, parse
from agent.records import JsonValue
from agent.watch.rules import in_words
from dashboard import hand_words, messages, words
from dashboard.access.request_guard import current_role
from dashboard.page_data.terminal import Moment, moment
from dashboard.pages import by_hand
from dashboard.pages.crew_parts import SNOOZE_S
from dashboard.settings import current_settings
from dashboard.site_time import second_text

TELL = "/crew/tell"
LONGEST_NAME = 32
# What a tapped key says: its type and what goes with it, as it stands in the page.
Key = Mapping[str, str]
Message = tuple[str, dict[str, JsonValue], str]


@dataclass(frozen=True, slots=True)
class Tap:
    """A tapped key, what was typed beside it by the field's name, by whom, and when (agent's time)."""

    key: Key
    typed: Mapping[str, str]
    by: str
    unix_s: float


def note_keys(offer: Component, notes: Component) -> Component:
    """The note buttons, the remark, what the modem shows, and the last notes."""
    keys = [html.Button(text, id={"type": "note", "kind": kind}) for kind, text in words.NOTES.items()]
    remark = [
        html.Label(words.REMARK_LABEL, htmlFor="remark"),
        dcc.Input(id="remark", name="text", type="text", maxLength=500, autoComplete="off"),
        html.Button(words.REMARK_BUTTON, id={"type": "note", "kind": words.OTHER_NOTE}),
    ]
    return html.Section(
        [
            html.Div(
                [
                    html.H2(words.TELL),
                    html.P(words.TELL_HINT, className="hint"),
                    html.Div(keys, className="keys"),
                    html.P(className="delivery", role="status"),
                    offer,
                    by_hand.entry(),
                    html.Div(remark, className="remark typed"),
                ],
                className="tell",
            ),
            html.H3(words.LAST_NOTES),
            notes,
        ],
        className="sheet",
    )


def tell() -> Response:
    """A key was tapped: what it says goes to the agent of the terminal that the page showed."""
    asked = request.get_json()
    typed = {name: str(text).strip() for name, text in (asked.get("typed") or {}).items()}
    now = moment(current_settings(), asked["terminal"], time.time())
    by = str(asked.get("by") or "").strip()[:LONGEST_NAME] or messages.SENDER
    tap = Tap(asked["key"], typed, by, now.unix_s)
    try:
        kind, payload, what = _MESSAGES[tap.key["type"]](tap)
        parse(kind, json.dumps(payload).encode())
    except by_hand.TypedError as error:
        return jsonify(said=str(error), delivered=False)
    except PayloadError as error:
        return jsonify(said=hand_words.NOT_TAKEN.format(reason=error), delivered=False)
    said, delivered = send(now, kind, payload, what)
    return jsonify(said=said, delivered=delivered)


def _note(tap: Tap) -> Message:
    kind, text = tap.key["kind"], tap.typed.get("text") or None
    if kind == words.OTHER_NOTE and text is None:
        raise by_hand.TypedError(words.REMARK_EMPTY)
    return "note", messages.note_payload(tap.unix_s, kind, text, tap.by), words.NOTE_NAMES[kind]


def _undo(tap: Tap) -> Message:
    return "note", messages.undo_payload(tap.unix_s, tap.key["note"], tap.by), words.SENT_UNDO


def _seen(tap: Tap) -> Message:
    rule = tap.key["rule"]
    what = words.SENT_SEEN.format(rule=in_words(rule))
    return "acknowledge", messages.acknowledge_payload(tap.unix_s, rule, None, None, tap.by), what


def _quiet(tap: Tap) -> Message:
    rule, reason = tap.key["rule"], words.QUIET_REASONS[tap.key["reason"]]
    what = words.SENT_QUIET.format(rule=in_words(rule))
    return "acknowledge", messages.acknowledge_payload(tap.unix_s, rule, SNOOZE_S, reason, tap.by), what


def _read(tap: Tap) -> Message:
    kind, fields, what = by_hand.reading(tap.key, tap.typed)
    return kind, messages.by_hand_payload(tap.unix_s, fields, tap.by), what


_MESSAGES: Mapping[str, Callable[[Tap], Message]] = {
    "note": _note,
    "undo": _undo,
    "seen": _seen,
    "quiet": _quiet,
    "read": _read,
}


def send(now: Moment, kind: str, payload: Mapping[str, JsonValue], what: str) -> tuple[str, bool]:
    """Deliver the message to the agent; how it went in words, and whether it did."""
    if current_role() != "crew":
        return words.READ_ONLY, False
    if now.terminal is None:
        return words.NO_TERMINAL, False
    try:
        messages.deliver(current_settings(), f"peakshade/{now.terminal}/{kind}", payload)
    except messages.NotDeliveredError as error:
        return words.NOT_DELIVERED.format(what=what, reason=error), False
    return words.DELIVERED.format(what=what, clock=second_text(now.unix_s, now.zone)), True


def register(server: Flask) -> None:
    """Take what is told."""
    server.add_url_rule(TELL, view_func=tell, methods=["POST"])
