"""Every English string that only the tuning page has."""

from collections.abc import Mapping

TUNE_HINT = (
    "Other numbers of the rules on recorded days. Nothing here changes the agent that runs: what is accepted"
    " becomes a new file, and a person names it in the config."
)
TUNE_DAYS = "Days"
TUNE_FOLDER = "One more session folder on the computer (may be empty)"
TUNE_RULES = "Rules file to start from (empty: the rules in force)"
TUNE_LOOK = "Take these days"
TUNE_WORKING = "Computing… a day that is new here takes some seconds."
TUNE_NUMBER = "Move a number"
TUNE_KEY = "Its numbers"
TUNE_SLIDE = "Move it"
TUNE_VALUE = "Value"
TUNE_REASON = "Default {value}, allowed {low} to {high}. Why: {reason}."
TUNE_CHANGES = "Changed so far"
TUNE_NO_CHANGE = "Nothing is changed yet."
TUNE_TAKE_BACK = "Take all back"
TUNE_TOGETHER = "All days together"
TUNE_PRESENT = "in force"
TUNE_TRIED = "changed"
TUNE_HAPPENED = "happened"
TUNE_FIGURES = (
    "{found} of {episodes} episodes found, mean delay {delay}; false alarms in {hours:.1f} h: {false_alarms}"
)
TUNE_NO_DELAY = "none"
TUNE_BARS = "{rule}: what the labels say happened, and when the alert stood."
TUNE_SAME = "Alerts that are the same with both: {count}."
TUNE_HEADS = ("Alert", "In force", "Changed", "What the change does")
TUNE_ALERT = "{start} to {end}, {level}"
TUNE_TO_THE_END = "the end"
TUNE_KINDS: Mapping[str, str] = {
    "only-first": "not raised any more",
    "only-second": "raised anew",
    "earlier": "{shift} earlier",
    "later": "{shift} later",
    "same": "of another severity",
}
TUNE_CURVE = "The curve"
TUNE_CURVE_HINT = "Each point is a value, or a range of values, of {name}; all else stays."
TUNE_NO_EPISODES = "No episode is labelled on these days, so only false alarms can be counted."
TUNE_CURVE_HEADS = ("Value", "Episodes found", "False alarms an hour")
TUNE_SWEPT = "other values"
TUNE_RANGE = "{first:g} to {last:g}"
FALSE_ALARMS_AN_HOUR = "false alarms an hour"
RECALL_PERCENT = "episodes found (%)"
TUNE_ACCEPT = "Accept"
TUNE_ACCEPT_HINT = (
    "Writes a new rules file with the figures and a reason for each number; no file is overwritten."
)
TUNE_NAME = "Name of the new file"
TUNE_FILE = "my-rules.toml"
TUNE_WRITE = "Write the rules file"
TUNE_WRITTEN = 'Written: {path}. Who accepts it sets in the config: rules = "{name}"'
