"""Of what a page would show, only what differs from what the browser already has travels."""

import hashlib
import json
from collections.abc import Mapping

from dash import no_update
from plotly.utils import PlotlyJSONEncoder


def only_changed(
    parts: Mapping[str, object], seen: Mapping[str, str]
) -> tuple[dict[str, object], dict[str, str]]:
    """The parts with the unchanged ones replaced by `no_update`, and the digests of all of them."""
    digests = {name: digest(part) for name, part in parts.items()}
    changed = {name: no_update if seen.get(name) == digests[name] else part for name, part in parts.items()}
    return changed, digests


def digest(part: object) -> str:
    """Tells whether two parts are the same."""
    text = json.dumps(part, cls=PlotlyJSONEncoder, sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()
