"""Whatever comes over HTTP is answered in time and in bounds, and nothing is told to those who may not look.

Reference: RFC 9110, section 15: what is the client's fault is answered with 4xx.
"""

import json
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.access.gate import make_gate
from dashboard.access.request_guard import ENTER, UPDATE
from dashboard.app import build_app
from dashboard.settings import Settings

SETTINGS = Settings(store=Path("none.sqlite3"), mqtt_host="127.0.0.1", mqtt_port=1)
OPEN = build_app(SETTINGS, None)
SHUT = build_app(SETTINGS, make_gate("salt-pan-2026", b"salt of a test..")).server.test_client()
OUTPUTS = list(OPEN.callback_map)
ROUTES = sorted({rule.rule for rule in OPEN.server.url_map.iter_rules() if "<" not in rule.rule})
METHODS = ("GET", "POST", "PUT", "DELETE", "HEAD", "OPTIONS", "PATCH", "TRACE")
JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=10,
)
# A path of a URL: the test client wants it to begin with one slash.
PATHS = st.sampled_from(ROUTES) | st.text(max_size=40).map(lambda text: "/" + text.lstrip("/\\"))


@given(st.sampled_from(METHODS), PATHS, st.binary(max_size=200))
@settings(max_examples=200)
def test_nothing_is_told_without_the_passcode(method: str, path: str, body: bytes) -> None:
    answer = SHUT.open(path, method=method, data=body)
    inside = path.split("?")[0]
    if not inside.startswith(("/assets/", ENTER)):
        assert 300 <= answer.status_code < 500, (method, path, answer.status_code)
        assert b"_dash" not in answer.data


@given(st.sampled_from(OUTPUTS) | st.text(max_size=20), JSON_VALUES, JSON_VALUES, JSON_VALUES)
@settings(max_examples=200)
def test_a_callback_of_nonsense_is_refused_and_the_next_one_answered(
    output: str, outputs: object, inputs: object, changed: object
) -> None:
    """As crew, on this computer: a bad request costs an error, never the server."""
    client = OPEN.server.test_client()
    body = json.dumps({"output": output, "outputs": outputs, "inputs": inputs, "changedPropIds": changed})
    headers = {"Host": "127.0.0.1", "Content-Type": "application/json"}
    answer = client.post(UPDATE, data=body, headers=headers)
    assert answer.status_code in (200, 204, 400, 404, 500)
    assert client.get("/", headers=headers).status_code == 200
