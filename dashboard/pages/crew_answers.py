"""The crew's answers: notes by one tap, alerts seen, alerts quiet for a while."""

import time
from collections.abc import Mapping

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from agent.records import JsonValue
from dashboard import messages, words
from dashboard.access.request_guard import current_role
from dashboard.page_data.terminal import Moment, moment
from dashboard.pages.crew_parts import SNOOZE_S
from dashboard.settings import current_settings
from dashboard.site_time import second_text


def note_keys() -> Component:
    """The note buttons, the remark and the last notes."""
    keys = [
        html.Button(text, id={"type": "note", "kind": kind}, n_clicks=0) for kind, text in words.NOTES.items()
    ]
    remark = [
        html.Label(words.REMARK_LABEL, htmlFor="remark"),
        dcc.Input(id="remark", type="text", maxLength=500, autoComplete="off", debounce=False),
        html.Button(words.REMARK_BUTTON, id="send-remark", n_clicks=0),
    ]
    return html.Section(
        [
            html.Div(
                [
                    html.H2(words.TELL),
                    html.P(words.TELL_HINT, className="hint"),
                    html.Div(keys, className="keys"),
                    html.Div(id="offer", className="remark"),
                    html.Div(remark, className="remark"),
                ],
                className="tell",
            ),
            html.H3(words.LAST_NOTES),
            html.Div(id="notes"),
        ],
        className="sheet",
    )


def on_note(_clicks: list[int], search: str) -> object:
    """A note button was tapped."""
    tapped = _tapped()
    return no_update if tapped is None else _send_note(tapped["kind"], None, search)


def on_remark(_clicks: int, text: str | None, search: str) -> tuple[str, object]:
    """The remark was sent; its field is emptied for the next one."""
    remark = (text or "").strip()
    if not remark:
        return words.REMARK_EMPTY, no_update
    return _send_note(words.OTHER_NOTE, remark, search), ""


def on_undo(_clicks: list[int], search: str) -> object:
    """A note is taken back."""
    tapped = _tapped()
    if tapped is None:
        return no_update
    now = moment(current_settings(), search, time.time())
    return send(now, "note", messages.undo_payload(now.unix_s, tapped["note"]), words.SENT_UNDO)


def on_seen(_clicks: list[int], search: str) -> object:
    """The crew has seen an alert."""
    tapped = _tapped()
    return no_update if tapped is None else _send_acknowledge(tapped["rule"], None, None, search)


def on_quiet(_clicks: list[int], search: str) -> object:
    """The crew wants silence about an alert, and says why."""
    tapped = _tapped()
    if tapped is None:
        return no_update
    return _send_acknowledge(tapped["rule"], SNOOZE_S, tapped["reason"], search)


def _tapped() -> dict[str, str] | None:
    """The tapped button's id; None where buttons were only drawn anew."""
    if not ctx.triggered or not ctx.triggered[0]["value"] or ctx.triggered_id is None:
        return None
    return dict(ctx.triggered_id)


def _send_note(kind: str, text: str | None, search: str) -> str:
    now = moment(current_settings(), search, time.time())
    return send(now, "note", messages.note_payload(now.unix_s, kind, text), words.NOTE_NAMES[kind])


def _send_acknowledge(rule: str, snooze_s: float | None, reason: str | None, search: str) -> str:
    now = moment(current_settings(), search, time.time())
    spoken_reason = None if reason is None else words.QUIET_REASONS[reason]
    form = words.SENT_SEEN if snooze_s is None else words.SENT_QUIET
    payload = messages.acknowledge_payload(now.unix_s, rule, snooze_s, spoken_reason)
    return send(now, "acknowledge", payload, form.format(rule=words.rule_text(rule)))


def send(now: Moment, kind: str, payload: Mapping[str, JsonValue], what: str) -> str:
    """Deliver the message to the agent, and say how it went."""
    if current_role() != "crew":
        return words.READ_ONLY
    if now.terminal is None:
        return words.NO_TERMINAL
    try:
        messages.deliver(current_settings(), f"peakshade/{now.terminal}/{kind}", payload)
    except messages.NotDeliveredError as error:
        return words.NOT_DELIVERED.format(what=what, reason=error)
    return words.DELIVERED.format(what=what, clock=second_text(now.unix_s, now.zone))


def register(app: Dash) -> None:
    """Connect the buttons; all of them answer in the same line of text."""
    said = Output("delivery", "children", allow_duplicate=True)
    search = State("url", "search")
    for answer, button in (
        (on_note, {"type": "note", "kind": ALL}),
        (on_undo, {"type": "undo", "note": ALL, "place": ALL}),
        (on_seen, {"type": "seen", "rule": ALL}),
        (on_quiet, {"type": "quiet", "rule": ALL, "reason": ALL}),
    ):
        app.callback(said, Input(button, "n_clicks"), search, prevent_initial_call=True)(answer)
    app.callback(
        said,
        Output("remark", "value"),
        Input("send-remark", "n_clicks"),
        State("remark", "value"),
        search,
        prevent_initial_call=True,
    )(on_remark)
