"""The crew's answers: notes by one tap, alerts seen, alerts quiet for a while."""

import time
from collections.abc import Callable, Mapping

from dash import dcc, html
from dash.development.base_component import Component
from flask import Flask, Response, jsonify, request

from agent.records import JsonValue
from dashboard import messages, words
from dashboard.access.request_guard import current_role
from dashboard.page_data.terminal import Moment, moment
from dashboard.pages.crew_parts import SNOOZE_S
from dashboard.settings import current_settings
from dashboard.site_time import second_text

TELL = "/crew/tell"
# What a tapped key says: its type and what goes with it, as it stands in the page.
Key = Mapping[str, str]
Message = tuple[str, dict[str, JsonValue], str]


def note_keys(offer: Component, notes: Component) -> Component:
    """The note buttons, the remark and the last notes."""
    keys = [html.Button(text, id={"type": "note", "kind": kind}) for kind, text in words.NOTES.items()]
    remark = [
        html.Label(words.REMARK_LABEL, htmlFor="remark"),
        dcc.Input(id="remark", type="text", maxLength=500, autoComplete="off"),
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
                    html.Div(remark, className="remark"),
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
    key, text = asked["key"], (asked.get("text") or "").strip() or None
    if key.get("kind") == words.OTHER_NOTE and text is None:
        return jsonify(said=words.REMARK_EMPTY, delivered=False)
    now = moment(current_settings(), asked["terminal"], time.time())
    topic, payload, what = _MESSAGES[key["type"]](now.unix_s, key, text)
    said, delivered = send(now, topic, payload, what)
    return jsonify(said=said, delivered=delivered)


def _note(unix_s: float, key: Key, text: str | None) -> Message:
    return "note", messages.note_payload(unix_s, key["kind"], text), words.NOTE_NAMES[key["kind"]]


def _undo(unix_s: float, key: Key, _text: str | None) -> Message:
    return "note", messages.undo_payload(unix_s, key["note"]), words.SENT_UNDO


def _seen(unix_s: float, key: Key, _text: str | None) -> Message:
    what = words.SENT_SEEN.format(rule=words.rule_text(key["rule"]))
    return "acknowledge", messages.acknowledge_payload(unix_s, key["rule"], None, None), what


def _quiet(unix_s: float, key: Key, _text: str | None) -> Message:
    what = words.SENT_QUIET.format(rule=words.rule_text(key["rule"]))
    reason = words.QUIET_REASONS[key["reason"]]
    return "acknowledge", messages.acknowledge_payload(unix_s, key["rule"], SNOOZE_S, reason), what


_MESSAGES: Mapping[str, Callable[[float, Key, str | None], Message]] = {
    "note": _note,
    "undo": _undo,
    "seen": _seen,
    "quiet": _quiet,
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
