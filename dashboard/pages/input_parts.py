"""How the inputs fare that the agent reads by itself: one quiet line when all is well. Pure."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from agent.store.reader import InputState
from agent.wording import span
from dashboard import words


def input_states(states: Sequence[InputState], unix_s: float) -> Component:
    """What does not work, longest first, each with what is wrong; what to look at; how many work."""
    troubled = [one for one in states if one.state != "ok" or one.finding is not None]
    fine = len(states) - len(troubled)
    form = words.INPUTS_OTHERWISE if troubled else words.INPUTS_WORK
    rest = [html.P(form.format(count=fine), className="fine-inputs")] if fine else []
    if not troubled:
        return html.Div(rest)
    lines = [
        _trouble(one, unix_s) for one in sorted(troubled, key=lambda one: (one.state == "ok", one.since))
    ]
    return html.Div([html.Ul(lines, className="troubled-inputs"), *rest])


def _trouble(one: InputState, unix_s: float) -> Component:
    lasting = span(unix_s - one.since.timestamp(), round_down=True)
    if one.state == "failing":
        said, reason = words.INPUT_FAILS.format(span=lasting), one.error
    elif one.state == "starting":
        said, reason = words.INPUT_STARTS.format(span=lasting), None
    else:
        said, reason = words.INPUT_FINDING, one.finding
    parts: list[Component | str] = [html.Strong(input_name(one.name)), f" {said}"]
    return html.Li([html.P(parts), *([html.Small(reason)] if reason else [])])


def input_name(name: str) -> str:
    """The type of the input in words, with its name in the config."""
    kind, _, own = name.partition(" ")
    return f"{words.INPUT_KINDS[kind]} {own}" if kind in words.INPUT_KINDS else name
