"""Of what a page would show, only what differs from what the browser already has travels."""

import hashlib
import json


def digest(part: object) -> str:
    """Tells whether two parts are the same."""
    text = json.dumps(part, sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()
