"""Every English string that only the tuning page has."""

from collections.abc import Mapping

TUNE_HINT = (
    "Other numbers of the rules on recorded days. Nothing here changes the agent that runs: what is accepted"
    " becomes a new file, and a person names it in the config."
)
TUNE_DAYS = "Days"
TUNE_OWN_DAYS = "Your recorded days"
TUNE_NO_OWN_DAYS = (
    "None yet beside the config: `peakshade record` writes one there, and the day page its labels.csv."
)
TUNE_BUNDLED_DAYS = "Bundled days, invented"
TUNE_RULES = "Rules to start from"
TUNE_FOLDER = "the config's folder"
TUNE_IN_FORCE = "the rules in force"
TUNE_LOOK = "Take these days"
TUNE_WORKING = "Computing… a day that is new here takes some seconds."
TUNE_NUMBER = "Move a number"
TUNE_KEY = "Its numbers"
TUNE_SLIDE = "Move it"
TUNE_VALUE = "Value"
TUNE_REASON = "Default {value}, allowed {low} to {high}. Why: {reason}."
TUNE_CHANGES = "Changed so far"
TUNE_NO_CHANGE = "Nothing is changed yet."
TUNE_TAKE_BACK = "Undo all"
# By what stands after the rule's name in its number's name.
TUNE_PARAMETERS: Mapping[str, str] = {
    "act_after_s": "in the sun until Act",
    "advise_after_s": "in the sun until Advice",
    "announce_s": "announced so long before",
    "blind_after_s": "where nothing tells of the sky, raised after so long",
    "blind_confidence": "where nothing tells of the sky, raised when so likely",
    "blind_db": "where nothing tells of the sky, raised from a loss of",
    "clear_confidence": "over when less likely than",
    "clear_db": "over when the loss is down to",
    "clear_hold_s": "over only after so long",
    "clear_margin_degc": "over so far below the limit",
    "clear_mbps": "over when so much is free",
    "clear_ratio": "over from this share of the rate",
    "confidence": "raised when so likely",
    "depth_db": "only passes so deep",
    "dip_s": "a short dip lasts up to",
    "dips": "so many short dips",
    "dropped": "dropped when less likely than",
    "exposure_margin_degc": "cool enough, below the limit by",
    "headroom_mbps": "raised when no more is free than",
    "hold_s": "raised after so long",
    "intervals": "so many readings missed",
    "lead_s": "raised so long before the limit",
    "least_s": "silent at least so long",
    "limit_margin_degc": "raised so far below the limit",
    "loss_db": "loss of power by heat",
    "lost_s": "lock lost for so long",
    "measured_db": "raised from, while rain is measured",
    "raise_db": "raised from a loss of",
    "ratio": "raised below this share of the rate",
    "repeat_s": "not again for so long",
    "rtt_clear": "over when the delay is down to so many times the usual",
    "rtt_ratio": "raised when the delay is so many times the usual",
    "sure": "raised when so likely, whatever the rate",
    "urgent_db": "urgent from a loss of",
    "urgent_percent": "urgent below a charge of",
    "urgent_s": "urgent below so much time left",
    "within_s": "wrong within the last",
}
TUNE_NAMED = "{rule}, {name}"
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
TUNE_CURVE_HINT = "Each point is what some values of one number do, “{name}”; all else stays."
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
TUNE_WRITTEN = 'Written beside the config: {name}. Who accepts it sets there: rules = "{name}"'


def parameter_text(name: str) -> str:
    """What the number does, without its rule; one that has no words yet keeps its name."""
    short = name.partition(".")[2]
    return TUNE_PARAMETERS.get(short, short)
