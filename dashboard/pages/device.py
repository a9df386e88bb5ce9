"""What the crew sets for the phone in hand, in the browser: theme, sound, a screen that stays on."""

from collections.abc import Callable

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard import words
from dashboard.pages.aria import with_attributes


def device_keys() -> Component:
    """The buttons at the foot of every page."""
    keys = [
        with_attributes(html.Button(text, id=name, n_clicks=0), {"aria-pressed": "false"})
        for name, text in words.DEVICE_KEYS.items()
    ]
    return html.Section(
        [
            html.H2(words.DEVICE),
            html.Div(keys, className="keys"),
            html.P(id="sound-said"),
            html.P(id="screen-said"),
            dcc.Store(id="device-words", data=dict(words.DEVICE_SAID)),
            dcc.Store(id="page-names", data=dict(words.PAGES)),
            dcc.Store(id="page-marked"),
        ],
        className="device",
    )


def register(app: Dash) -> None:
    """Connect the buttons; nothing of it reaches the server."""
    in_browser: Callable[..., None] = app.clientside_callback

    def connect(name: str, *arguments: Input | Output | State) -> None:
        in_browser(ClientsideFunction("peakshade", name), *arguments)

    device_words = State("device-words", "data")
    connect("toggleTheme", Output("theme", "data"), Input("theme-key", "n_clicks"), State("theme", "data"))
    connect("showTheme", Output("theme-key", "aria-pressed"), Input("theme", "data"))
    units = State("units", "data")
    # A first call without a click would answer nothing, and what follows from the units would not be called.
    in_browser(
        ClientsideFunction("peakshade", "toggleUnits"),
        Output("units", "data"),
        Input("units-key", "n_clicks"),
        units,
        prevent_initial_call=True,
    )
    pressed, shown = Output("units-key", "aria-pressed"), Output("display-units", "data")
    connect("showDisplayUnits", pressed, shown, Input("units", "data"))
    for name, key in (("toggleSound", "sound"), ("toggleScreen", "screen")):
        pressed, said = Output(f"{key}-key", "aria-pressed"), Output(f"{key}-said", "children")
        connect(name, pressed, said, Input(f"{key}-key", "n_clicks"), device_words)
    connect("markPage", Output("page-marked", "data"), Input("url", "pathname"), State("page-names", "data"))
