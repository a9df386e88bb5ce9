"""A job as the text of a config file."""

import json
from dataclasses import MISSING, fields
from datetime import datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from agent.job import Job

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def job_toml(job: Job, heading: str) -> str:
    """The config file of `job`, its sections in the record's order; `heading` becomes the comment on top."""
    lines = [f"# {heading}", f"terminal = {json.dumps(job.terminal)}"]
    for section in fields(Job):
        part = getattr(job, section.name)
        if section.name != "terminal" and part is not None:
            lines += ["", f"[{section.name}]", *_section(part, job.site.time_zone)]
    return "\n".join(lines) + "\n"


def _section(part: "DataclassInstance", time_zone: str) -> list[str]:
    """`key = value` of all but defaults; times in the site's zone, without the suffix of the unit."""
    lines = []
    for item in fields(part):
        name, value = item.name, getattr(part, item.name)
        if name.endswith("_unix_s"):
            name = name.removesuffix("_unix_s")
            value = datetime.fromtimestamp(value, ZoneInfo(time_zone)).isoformat()
        default = item.default if item.default_factory is MISSING else item.default_factory()
        if value is not None and value != default:
            lines.append(f"{name} = {json.dumps(value, ensure_ascii=False)}")
    return lines
