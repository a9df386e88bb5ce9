"""English strings of the crew's hand: readings off the modem, peaking, the phone, the evening's report."""

from collections.abc import Mapping

NOT_TAKEN = "NOT sent: {reason}."
BY_HAND = "Read off the modem"
BY_HAND_HINT = "For a modem that speaks to nobody. It counts for 30 minutes."
LOCK_LABEL = "Lock"
LOCKS: Mapping[str, str] = {"yes": "It has lock", "no": "No lock"}
BARS_LABEL = "Bars"
LEVEL_LABEL = "Level"
LEVEL_FIGURE = "Which figure the modem shows"
RATE_OF_TEST = "Test, {way} (Mbit/s)"
SEND = "Send"
TYPE_NUMBER = "Type a number such as 11.8."
SENT_BARS = "{bars} of {of} bars"
SENT_LEVEL = "{figure} {level:g}"
SENT_RATES = "test, {rates} Mbit/s"

PEAKING = "Peaking"
BEST_SO_FAR = "best"
PLANNED = "plan"
BEFORE = "before"
TONE = "Tone"
WAYS: Mapping[str, str] = {"rises": "\u25b2 rises", "falls": "\u25bc falls", "steady": "= steady"}
NO_LEVEL = "No level yet"
NO_LOCK = "No lock"
LEVEL_AGE = "{age_s} s old"
PEAKING_LOST = "No contact: this figure is old."

REPORT_DAYS = "Which days"
REPORT_HINT = "Tap each day that belongs into the report."
REPORT_MAKE = "Make the report"
REPORT_NO_DAY = "Tap a day first."
REPORT_UNDER_WAY = "A report is being made already."
REPORT_STARTS = "Starting."
REPORT_STEP = "Working on {what}. A day takes some seconds."
REPORT_FAILED = "The report cannot be made: {why}"
REPORT_SUMMARY = "To send"
REPORT_WHOLE = "The whole report"
REPORT_FILES: Mapping[str, str] = {
    "report.html": "Open the report",
    "report.pdf": "PDF",
    "summary.txt": "Summary as text",
    "tables-csv.zip": "Tables as CSV",
    "tables-parquet.zip": "Tables as Parquet",
}
SHARE = "Share"
COPY = "Copy"
COPIED = "Copied."

DEVICE = "This screen"
DEVICE_KEYS: Mapping[str, str] = {
    "theme-key": "Night theme",
    "units-key": "Imperial units",
    "sound-key": "Alarm on this phone",
    "screen-key": "Keep the screen on",
}
DEVICE_SAID: Mapping[str, str] = {
    "impossible": "This browser does not keep the screen on. Set the phone's own time-out longer.",
    "sound": "The alarm is on: it sounds with each sending until somebody taps Seen, and without contact.",
    "tested": "This is how an urgent alert sounds. Nothing heard? Turn the phone's volume up.",
    "touch": "Touch the page once: the browser allows sound and a lit screen only then.",
}
TEST_ALARM = "Test the alarm"
NAME_LABEL = "Your name, for notes and Seen"
GLOSSARY_TITLE = "What the words mean"
GLOSSARY: Mapping[str, str] = {
    "Es/N0": "How far the signal stands above the noise, in dB. The modem's best figure; higher is better.",
    "C/N": "Much the same, measured over the whole carrier. Good for comparing, not with the plan.",
    "dB": "3 dB less is half the power, 10 dB less a tenth.",
    "Lock": "The modem has found the carrier and can read it.",
    "Peak": "Turn the dish until the level is highest. Peak again when it has moved.",
    "Reference": "The level after peaking. What is lost is counted from it.",
    "MODCOD": "How data are packed: more level carries more bits. Less level, a lower rate.",
    "Rain fade": "Rain on the path takes level, and gives it back by itself. Leave the dish.",
    "Sun pass": "The sun behind the satellite drowns the signal in noise for minutes. Leave the dish.",
    "Headroom": "What the uplink carries beyond the stream. Below zero the stream breaks.",
}
