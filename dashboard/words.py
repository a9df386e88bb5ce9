"""Every English string of the pages (with hand_words and tuning_words): a translation is files like these."""

from collections.abc import Mapping
from typing import NamedTuple

TITLE = "peakshade"
PAGES: Mapping[str, str] = {
    "/": "Crew",
    "/day": "Day",
    "/plan": "Plan",
    "/report": "Report",
    "/terminals": "Terminals",
    "/tuning": "Tuning",
}
DESCRIPTION = "What the terminal does now, and what the crew should do."
UNKNOWN_TERMINAL = "No terminal {terminal} is known here. Known: {known}."
UNKNOWN_PAGE = "There is no such page. The pages are listed above."
SCRIPT_NEEDED = "These pages need JavaScript, all of it served from this computer."

LEVELS: Mapping[str, str] = {
    "unknown": "Not known yet",
    "fine": "Fine",
    "advise": "Advice",
    "act": "Act",
    "urgent": "Urgent",
}
STATES: Mapping[str, str] = {
    "raised": "raised",
    "acknowledged": "seen",
    "cleared": "over",
    "reminder": "not seen yet",
}
CAUSES: Mapping[str, str] = {
    "mispoint": "a knock, a gust or a slow slide",
    "rain": "rain on the path",
    "sun-pass": "the sun behind the satellite",
    "blockage": "something in front of the dish",
    "overheat": "heat at the transmitter",
    "lan": "the local network",
    "network": "the network beyond the terminal",
    "power": "the power supply",
    "none": "",
}
NOTES: Mapping[str, str] = {
    "shade-on": "Shade is on",
    "shade-off": "Shade is off",
    "peak-start": "Peaking starts",
    "peak-done": "Peaking done",
    "stream-start": "Stream starts",
    "stream-stop": "Stream stops",
    "rain": "It rains",
    "rain-over": "Rain is over",
    "moved": "Terminal moved",
}
OTHER_NOTE = "other"
NOTE_NAMES: Mapping[str, str] = {
    **NOTES,
    "accept-level": "Accept this level",
    "undo": "Taken back",
    OTHER_NOTE: "Remark",
}
INPUTS: Mapping[str, str] = {
    "signal": "Signal",
    "throughput": "Throughput",
    "temperature": "Temperature",
    "temperature transmitter": "Transmitter thermometer",
    "temperature modem": "Modem thermometer",
    "temperature ambient": "Air thermometer",
    "weather": "Weather",
    "power": "Power",
    "signal by hand": "Signal, read by hand",
    "throughput by hand": "Rates, read by hand",
    "note": "Last note",
    "acknowledge": "Last acknowledgement",
}


class KeyFigure(NamedTuple):
    """A figure of the situation now, beside what it should be or is part of."""

    key: str
    of: str
    decimals: int
    unit: str
    form: str


KEY_FIGURES = (
    KeyFigure("esno_db", "plan_esno_db", 1, "dB", "{now} of {of} planned"),
    KeyFigure("cn_db", "reference_db", 1, "dB", "{now} of {of} after peaking"),
    KeyFigure("quality_percent", "reference_quality_percent", 0, "%", "{now} of {of} after peaking"),
    KeyFigure("stream_mbps", "up_mbps", 1, "Mbit/s", "stream {now} of {of}"),
)
READ_BY_HAND = "read by hand at {clock}"
BECAUSE = "Why"
DO_THIS = "Do"
NOTHING_TO_DO = "Nothing to do."
LEFT = "left"
OVERDUE = "overdue by"
NEXT = "Next"
NOTHING_AHEAD = "Nothing is foreseen."
DAY_OVER = "The recorded day is over. What stands here is its end; start the demo again to see it once more."
AT = "at {clock}"
UTC_ONLY = "{utc} UTC"
LOCAL_AND_UTC = "{clock} at the site · {utc} UTC"
SITE_UNKNOWN = "no plan stored; times are UTC"

ALERTS = "Alerts"
NO_ALERTS = "None."
NO_OTHER_ALERTS = "No other."
SINCE = "since {clock}"
SEEN_BUTTON = "Seen"
SEEN = "Seen {clock} by {by}"
SOMEBODY = "the crew"
# Who sends, where it is not a person's own name.
SENDERS: Mapping[str, str] = {"dashboard": SOMEBODY}
QUIET_UNTIL = "Quiet until {clock}"
QUIET_BUTTON = "Quiet for {span}"
QUIET_SUMMARY = "Quiet for a while, because…"
QUIET_REASONS: Mapping[str, str] = {
    "working": "We are on it",
    "known": "Known and accepted",
    "false": "The alert is wrong",
}
EVIDENCE = "What shows it"

TRENDS = "Last two hours"
REFERENCE = "reference after peaking"
LIMIT = "limit"
DOWN = "down"
UP = "up"
PLANNED_UP = "up, planned"
STREAM = "stream needs"
TRANSMITTER = "transmitter"
MODEM = "modem"
SIGNAL_TITLE = "Signal"
ESNO = "Es/N0"
CARRIER_TO_NOISE = "C/N"
QUALITY = "quality by the modem"
ESNO_PLANNED = "Es/N0, planned"
RATE_TITLE = "Throughput"
HEAT_TITLE = "Temperature"
SUN_TITLE = "In the sun, unshaded"
NOT_KNOWN = "not known"
LAST_TEST = "last test {clock}"
NO_CURVE = "No data yet."

INPUT_AGES = "Last heard"
AGO = "{span} ago"
NO_INPUTS = "No input has reported yet."
NOT_HEARD = "Not heard today, and not watched: {inputs}."
# The agent's own inputs by their type, before their name in the config.
INPUT_KINDS: Mapping[str, str] = {
    "mqtt": "MQTT device",
    "snmp": "SNMP device",
    "http": "Web page of",
    "line": "Instrument",
    "onewire": "Thermometer",
    "hwmon": "Built-in thermometer",
    "ups": "UPS",
    "gnss": "GNSS receiver",
    "reachability": "Round trips to",
    "counters": "Traffic at interface",
    "http_rate": "Rate test with",
    "iperf": "Rate test with",
    "notify": "Alerts by",
    # What it hears besides.
    "broker": "Broker",
    "messages": "Messages on",
    "history": "History on",
    "terminal": "Terminal",
    "client": "Another client named",
    "agent": "Another agent",
}
INPUT_FAILS = "does not work, for {span}"
INPUT_STARTS = "no answer yet, for {span}"
INPUT_FINDING = "needs a look"
INPUTS_WORK = "All inputs that the agent reads itself work ({count})."
INPUTS_OTHERWISE = "The other inputs that the agent reads itself work ({count})."

TELL = "Tell the agent"
TELL_HINT = "One tap is one note with the time of the tap."
REMARK_LABEL = "A remark in your own words"
REMARK_BUTTON = "Send remark"
REMARK_EMPTY = "Write the remark first."
LAST_NOTES = "Last notes"
NO_NOTES = "No note yet."
UNDO = "Take back"
UNDO_FRESH = "Take back: {note}"
TAKEN_BACK = "(taken back)"
SENT_UNDO = "note taken back"
DELIVERED = "Delivered: {what}, {clock}."
NOT_DELIVERED = "NOT delivered: {what}. {reason}. Tap again."
NO_TERMINAL = "No terminal is known yet, so there is nobody to tell."
SENT_SEEN = "seen, {rule}"
SENT_QUIET = "quiet, {rule}"

# Filled in by the browser: {span} since the last word, {clock} of the site at it.
COVER: Mapping[str, str] = {
    "lost": "Contact lost",
    "title": "No contact for {span}",
    "title_never": "No contact yet",
    "last": "Last word from the agent at {clock}. What stands below may no longer hold.",
    "page": "This page cannot reach the dashboard. Check that this phone is on the crew's network and the "
    "computer is on.",
    "agent-silent": "The dashboard works, but the agent has stopped writing. Check that it runs.",
    "no-situation": "The dashboard works, but the agent has not yet written anything for this terminal. "
    "Check that it runs.",
    "no-store": "The dashboard works, but cannot read the store. Check its path and that the agent runs.",
}

DAY_SPANS: Mapping[str, str] = {
    "job": "The job",
    "2h": "2 hours",
    "12h": "12 hours",
    "7d": "7 days",
    "30d": "30 days",
}
MOVES: Mapping[str, str] = {"earlier": "Earlier", "later": "Later", "closer": "Closer", "wider": "Wider"}
DAY_WINDOW = "{start} to {end} at the site ({utc_start} to {utc_end} UTC)"
DAY_SPAN = "Span of time"
DAY_MOVE = "Move in time"
EXPLORE = "Explore the lines"
EXPLORE_FIGURE = "Signal, rates, temperatures, sunshine and power over time; the day page says the same."
EXPLORE_HINT = "Drag a span open to see it closer; a tap twice shows all again."
FIGURE_HINT = "Around a line: from the lowest to the highest reading. Tap a picture for the time of a note."
REPEAK_FROM = "re-peak from"
PLANNED = "planned"
REFERENCE_SHORT = "reference"
PANEL_EMPTY = "{title}: nothing is known of this span."
PANEL_LEVEL = "{title}: {value} {unit} throughout."
AIR = "air"
SUNSHINE = "sunshine"
BATTERY = "battery"
SUNSHINE_TITLE = "Sunshine"
BATTERY_TITLE = "Battery"
NOTES_TITLE = "Notes"
LABELS_TITLE = "Labels"
SUN_PASS = "sun pass"
RAIN = "rain"
EVENTS = "Alerts of this span"
NO_EVENTS = "No alert in this span."
LANE_TIMES = "{count} times"
FROM_TO = "{start} to {end}"
SPAN_NOTES = "Notes of this span"
LATE_NOTE = "A note for an earlier time"
LATE_HINT = (
    "Kept as a remark with the time it speaks of. The watch decides nothing from it: what has just been done"
    " is told on the crew's page. Tap a picture above for its time."
)
LATE_TIME = "When it was, by the clock of the site"
LATE_TEXT = "In your own words (may be empty)"
LATE_WRONG_TIME = "Write an earlier time such as 2026-07-18 14:05."
MOVE_NOTE = "Move"
TOLD_AT = "told {clock}"
LABELS = "What really happened"
LABEL_CAUSES: Mapping[str, str] = {
    "mispoint": "Dish off its aim",
    "rain": "Rain",
    "sun-pass": "Sun pass",
    "blockage": "Blockage",
    "overheat": "Overheating",
    "lan": "Local network",
    "network": "Network beyond",
    "power": "Power",
}
LABEL_HINT = (
    "For replay and tuning, kept in this browser only. Save labels.csv into the folder that"
    " `peakshade record` writes for the day."
)
LABEL_START = "From, by the clock of the site (follows the span shown)"
LABEL_END = "To"
LABEL_AS = "This span was"
LABEL_PROPOSE = "Propose from the alerts"
LABEL_SAVE = "Save labels.csv"
LABEL_READ = "Read labels.csv"
LABEL_REMOVE = "Remove"
LABEL_WRONG = "Write two times such as 2026-07-18 14:05, the end not before the start."
NO_LABELS = "No label yet."
FIGURES_BEHIND = "The numbers behind it"
NO_DATA_YET = "Nothing is stored for a terminal yet."

SHOW = "Show"
NO_NUMBER = "–"
NO_PLAN = "No plan is stored for this terminal yet."
PLAN_ANSWERS: Mapping[str, str] = {
    "works": "It works there.",
    "tight": "It works there, but it is tight.",
    "does not work": "It does not work there.",
}
POINTING = "Pointing"
AZIMUTH_TRUE = "Azimuth, true north"
AZIMUTH_MAGNETIC = "Azimuth, magnetic compass"
ELEVATION = "Elevation"
SLANT_RANGE = "Distance to the satellite"
ROUND_TRIP = "Round trip"
TILT_HEADS = ("Base tilt", "Aim off up to")
LINK = "Link"
LINK_HEADS = ("", "Up", "Down")
HEAT_FIGURES = "The temperatures behind it"
ESNO_CLEAR = "Es/N0 in clear sky"
ESNO_FADED = "Es/N0 at the availability"
RATE_CLEAR = "Rate in clear sky"
RATE_FADED = "Rate at the availability"
MARGIN = "Margin over the booked rate"
NO_LINK = "the link does not close"
LINE_BY_LINE = "Line by line"
TILTS = "Where the base is not level"
SUN_OF_THE_DAY = "The sun over the day"
ALL_CAUTIONS = "{count} more cautions, and the limits by their sources"
LEFT_OVER = "at the availability"
SKYLINE = "skyline"
NINES = ("one nine", "two", "three", "four")
PRINT_PLAN = "Two pages to print"
NO_PRINT = "The pages to print cannot be made here: {reason}"
RULES_UNKNOWN = "as in the config"
FADE_STEPS = ("clear sky", "rain", "cloud", "scintillation", "together", "faded")
BUDGET_BY_LINE = "What takes Es/N0 until the availability"
FADE_BY_LINE = "From clear sky to the availability, part by part"
RATES = "Rates against availability"
BOOKED_UP = "up, booked"
AVAILABILITY = "Mbit/s, over the share of the year in which they are reached"
WHAT_IF = "What one change does, in Mbit/s"
WHAT_IF_HEADS = ("Change", "Up, clear", "Up, faded", "Down, clear", "Down, faded")
SUN_PASSES = "Sun passes of the job"
SUN_PASS_YEAR = "Sun passes of the coming year"
SUN_PASS_HEADS = ("Date", "At the site", "Deepest, UTC", "Loss")
NO_SUN_PASS = "None."
HEAT = "Sun and heat"
SUN_HOURS = "Hours of sun, clear sky"
SHADE_BY = "Shade up by"
NOT_NEEDED = "not needed"
PEAK_UNSHADED = "Transmitter at its hottest, unshaded"
PEAK_SHADED = "Transmitter at its hottest, shaded"
AIR_ASSUMED = "air (assumed)"
HEAT_ACCURACY = "Temperatures come from a simple model and err by several °C."
CLEAR_SKY = "clear sky"
HALF_CLOUDY = "half clouded"
SUN = "sun"
DISH = "aim of the dish"
SUN_PATH = "The sun's way over the day by the clock of the site, its height in degrees, and the dish's aim"
SUN_MINUTES = "Minutes of sunshine in each hour"
SAFETY = "Safety"
KEEP_OUT = "Keep out of the beam within"
KEEP_OUT_HEADS = ("Limit", "Distance", "Source")
HEAT_INDEX = "Heat index for the crew"
ITEMS = "Every line of the budget, with its source"
ITEM_HEADS = ("Part", "What", "Symbol", "Value", "Source")

WRONG_HOST = "Open these pages under the address of this computer itself, as in 127.0.0.1."
WRONG_ORIGIN = "The request comes from another site."
ENTER_FIRST = "Enter the passcode first."
PASSCODE = "Passcode"
ENTER_BUTTON = "Enter"
WRONG_PASSCODE = "That is not the passcode."
TOO_MANY_TRIES = "Too many wrong passcodes. Wait a minute."
READ_ONLY = "This link only looks. The crew's own link can tell the agent."
CREW_LINK = "For the crew's phones (reads and answers), until {end}: {link}"
GUEST_LINK = "For the producer (reads only), until {end}: {link}"
NO_LINKS = (
    "Links are only shown in a terminal window, since others read this log; the passcode opens {address} too."
)
TOO_LONG = "The address is too long."

OTHER_TERMINAL = "This link is for the pages of one terminal, and not for this one."
FIND = "Terminal or site"
SHOW = "Show"
ALL_LEVELS = "all"
FIND_BUTTON = "Find"
MORE = "{count} more, less urgent: find them by name."
NONE_FOUND = "No terminal is found by that."
SINCE = "since {clock}"
NOT_SEEN = "not seen"
LAST_HEARD = "last heard {span} ago"
SILENT = "Silent"
SILENT_FOR = "Nothing heard for {span}; last word at {clock}."
