"""Decides how everything that the engine says is worded: a template by its code, filled with figures."""

from collections.abc import Iterable, Mapping, Sequence

from agent.wording import METRIC, SAFE_ALL_DAY, SAFE_UNSHADED, Codes, Reader, Said, worded

_HEADLINES = {
    "over-limit": "{where:cap} is over its limit",
    "long-in-sun": "{where:cap} is long in the sun",
    "gets-too-hot": "{where:cap} gets too hot",
    "mispoint": "The dish points off",
    "look-at-dish": "Look at the dish",
    "sun-pass-now": "Sun pass now",
    "sun-pass-soon": "Sun pass soon",
    **{
        f"sun-pass-{when}-{outcome}": f"Sun pass {when}: {words}"
        for when in ("now", "soon")
        for outcome, words in (
            ("carried", "the booked rate holds"),
            ("less", "lock holds, less rate"),
            ("lock-lost", "lock may be lost"),
        )
    },
    "rain": "Rain takes signal",
    "blockage": "Something stands in the beam",
    "blockage-gone": "Something stood in the beam just now",
    "stream-not-carried": "The uplink does not carry the stream",
    "lan-loses": "The local network loses data",
    "network-slow": "The network beyond is slow",
    "rate-low": "The rate is low, cause unknown",
    "battery-headline": "Running on battery",
    "input-silent": "{input:cap} has gone silent",
    "clock-wrong": "A device has a wrong clock",
    "clock-stepped": "This computer's clock was set",
    "link-down": "The link is down: no lock",
    "link-down-unheard": "No lock when last heard; signal not heard for {silent_s}",
    "stream-down": "The stream is down: nothing gets through",
    "below-plan-headline": "{below_db} below the plan",
}
_PEAK_SAFELY = " when the stream can bear it; transmitter off before anybody is in front of it"
_MORE = {
    "more-than-shade-transmitter": (
        "Still warming under the shade: let air move around the transmitter, keep cases off it"
    ),
    "more-air-transmitter": "No sun is on it: let air move around the transmitter, keep cases off it",
    "more-air-modem": "Let air move around the modem, take off what lies on it",
}
# What takes heat from a unit that is over its limit: the transmitter's power, the modem's work.
_LESS = ("lower the power with the operator's consent", "take load off it now")
_ACTIONS = {
    "shade-now": "Shade the {where} now; leave its cooling fins and the beam free",
    "shade-over": "Shade the {where} now: it is over its limit. Housings may be hot to the touch",
    "shade-wait": "Shade is on; in {judged_in_s} I can tell whether it helps",
    "cooling-leave-it": "Cooling, leave it: the shade on the {where} works",
    **_MORE,
    "more-air-modem": f"{_MORE['more-air-modem']}; less load if it stays warm",
    **{f"{code}-over": f"{words}; {_LESS['modem' in code]}" for code, words in _MORE.items()},
    "repeak": f"Re-peak the dish{_PEAK_SAFELY}",
    "look-first": (
        "Look before you touch: rain or dark cloud where the dish points, water or snow on the reflector,"
        " anything in the beam, mount level and tight. Note rain or moved; if the dish has moved, re-peak,"
        " transmitter off before anybody is in front of it"
    ),
    **dict.fromkeys(
        ("wait-sun-pass", "wait-sun-pass-less"),
        "Sun pass: do not touch the dish; warn the producer, lower the stream meanwhile if need be",
    ),
    "wait-sun-pass-carried": "Sun pass: nothing to do, it ends by itself; do not touch the dish",
    "wait-sun-pass-lock-lost": (
        "Sun pass: do not touch the dish; warn the producer that the stream may break off meanwhile"
    ),
    "wait-rain": (
        "Rain fade: do not touch the dish, it comes back with the sky; lower the stream if it breaks up"
    ),
    "free-the-beam": (
        "Look for people, vehicles, a branch or a drone in front of the dish and keep the beam free"
    ),
    "lower-stream": "Lower the stream to {to_mbps}",
    "look-at-lan": (
        "Look at the LAN: cables, switch, Wi-Fi and the encoder's port; leave dish and modem alone"
    ),
    "call-network": "Call the network's desk: the link is fine, the rate is lost beyond the satellite",
    "repeat-test": (
        "Repeat the throughput test by cable at the modem; if it stays low, call the network's desk"
    ),
    "see-to-power": (
        "On battery: see to generator or mains (switch off before touching); end the stream in time"
    ),
    "see-to-input": "See why {input} has gone silent: power, cable, the script that publishes it",
    "keep-clock": "See that this computer keeps the time: a network time service, or a clock with a battery",
    "down-sun-pass": "Sun pass: wait, leave the dish. Lock comes back when the sun has moved on",
    "down-power": (
        "The supply changed just before: see that modem, LNB and transmitter have power and come up; then the "
        "cables, then the dish"
    ),
    "down-rain": (
        "Rain: wait, leave the dish. Lock comes back with the sky; if not ten minutes after the rain, look at "
        "beam, LNB and cable, dish, transmitter"
    ),
    "down-dish": (
        "Look at the dish first: it was knocked or blown. Transmitter off before anybody is in front of it; then "
        "re-peak"
    ),
    "down-look": (
        "Look in this order: the beam, LNB and cable, the dish, the transmitter; then call the operator"
    ),
    "stream-waits-for-rain": "Rain takes too much for anything to get through: wait, leave the dish",
    "signal-first": "The signal is {missing_db} down: see to that first, then the stream comes back",
    "find-dead-hop": (
        "Find the hop that is dead: encoder, cable to the modem, modem's page, then the network's desk"
    ),
    "check-set-up": (
        "Check polarisation, connectors and what stands in the path, and peak again; if that is all there is, "
        "tap Accept the level"
    ),
    "check-receive-side": (
        "The dish points as it should: check the LNB, its cable and for interference; if that is all there is, "
        "tap Accept the level"
    ),
    "set-clock": "Set the clock of the device that publishes: its readings carry a wrong time",
}
_EVIDENCE: Mapping[str, str | tuple[str, ...]] = {
    "exposure": "{exposure_s} of sunshine without shade today (rule of thumb: one to two hours)",
    "temperature": ("{temperature_degc}", "limit {limit_degc:0}", "as of {age_s} ago"),
    "over-limit-since": "over its limit since {since_unix_s} ({over_s})",
    "as-of": "the last reading is {age_s} old",
    "slope": "slope {slope_degc_per_min:+2}",
    "limit-in": "limit in about {planned_s}, at the earliest in {early_s}",
    "heat-loss": "the uplink lost {loss_db} and the downlink nothing: it cuts its power for heat",
    "shade-works": "shade works: falling {fall_degc_per_min}",
    "shade-falls-short": "the shade does not help enough: still rising",
    "below": "{deficit_db} below the reference",
    "below-rain-seen": "{deficit_db} below the reference, rain seen or measured",
    "below-as-turned": ("{loss_db} below the reference", "as a pointing error of {error_deg} costs"),
    "below-now": "{deficit_db} below the reference now",
    "missing-and-dips": (
        "{missing_db} missing", "{dip} short drop in ten minutes", "{dips} short drops in ten minutes",
    ),
    "sun-pass-starts": "the sun passes behind the satellite: it starts in {until_s}, lasts {lasts_s}",
    "sun-pass-under-way": "the sun passes behind the satellite: it is under way, lasts {lasts_s}",
    "sun-pass-depth": (
        "up to {depth_db} will be missing at the middle and come back by themselves",
    ),
    "sun-pass-leaves": (
        "the plan leaves {modcod}, {rate_mbps:2} at worst",
        "less than the booked downlink from {from_unix_s} to {to_unix_s}",
    ),
    "sun-pass-loses-lock": "by the plan lock is lost from {from_unix_s} to {to_unix_s}, with an active sun",
    "carried": "the weakest recent uplink tests carry {carried_mbps:2}",
    "stream-needs": "the stream of {stream_mbps} needs a fifth more than itself",
    "tests": (
        "tests: down {down_mbps:~}", "up {up_mbps:~}", "RTT {rtt_ms:~}", "loss {loss_percent:~}",
    ),
    "rate-share": "{rate_share} of the rate to expect",
    "signal-fine": "signal fine ({deficit_db} off its reference)",
    "signal-not-known": "signal not known",
    "lan-confidence": "confidence {confidence_share}: losses or jitter at an unchanged round-trip time",
    "network-confidence": "confidence {confidence_share}: the round-trip time has grown",
    "no-rate-cause": "no cause found in signal, delay or loss",
    "on-battery": ("running on battery", "{left_s} left"),
    "battery-charge": "battery at {battery_percent}",
    "silent": "nothing from {input} for {silent_s}",
    "readings-missing": "{count} readings missing",
    "clock-set-forward": "the agent's computer was set forward by {by_s}",
    "clock-set-back": "the agent's computer was set back by {by_s}",
    "own-time": "the watch goes on by a time of its own; spans and alerts are not touched",
    "receipt-time": "readings were stamped with the time of their receipt",
    "lock-lost-since": "no lock since {since_unix_s} ({lost_s})",
    "lock-back": "lock is back, the link is coming up",
    "sun-behind": "the sun stands behind the satellite now",
    "supply-changed": "the supply changed about then",
    "down-nothing-known": "no rain, gust, knock, sun pass or power event is known",
    "nothing-through": "the test at {tested_unix_s} got nothing through in either direction, all packets lost",
    "level-below-plan": "the level after set-up is {below_db} below the clear-sky plan",
    "uplink-as-planned": (
        "the uplink is as planned: not the dish; the LNB, interference or the plan's own error"
    ),
    "uplink-as-turned": "the uplink is {uplink_below_db} below its plan, as a turned dish costs: peak again",
    "uplink-below-too": (
        "the uplink is {uplink_below_db} below its plan, not as a turned dish costs: polarisation or an obstacle"
    ),
    "perhaps-side-lobe": "so much is missing on a side lobe: search wider for the main one",
    "perhaps-crossed": "so much is missing with the wrong polarisation or a feed that is turned",
    "perhaps-obstacle": "the satellite stands only {elevation_deg:0} high: trees and buildings reach into the path",
    "note-taken-back": "the note that it rested on was taken back",
    "not-sure": "not sure any more after {lasted_s}",
    "last-test": "last test {tested_unix_s}: too old to tell of the present",
    "tests-old": "the last test was at {tested_unix_s}: too old to tell whether it is over",
    "dish-after-all": "it is the dish, after {lasted_s}",
    "over": "over after {lasted_s}",
    "put-off-rain": "put off for the rain after {lasted_s}",
    "put-off-sun-pass": "put off for the sun pass after {lasted_s}",
}  # fmt: skip
_CAUSES = {
    "course-still": "it came at once and stands still",
    "course-creeping": "it grows little by little",
    "course-sinking": "it grows slowly",
    "course-slipping": "it grows within minutes",
    "course-rain": "it comes and goes as rain does",
    "course-steady-rain": "it comes slowly and wavers as steady rain does",
    "course-drying": "it goes little by little",
    "course-cloud": "it comes and goes as clouds do",
    "course-covered": "it came at once, as of something in the beam",
    "knock": "the crew noted a knock",
    "wind-unknown": "nothing tells of the wind",
    "deep": "deeper than a dish turns unnoticed",
    "part-recovered": "the last re-peak won a part only",
    "wet-reflector": "after rain the reflector is wet for a while",
    "gust": "a strong gust just before",
    "no-gust": "no strong gust before it",
    "rain-noted": "the crew noted rain",
    "rain-seen": "rain measured within ten minutes",
    "rained": "rain measured within half an hour",
    "gauge-dry": "the rain gauge is dry",
    "sky-unknown": "nothing tells whether it rains",
    "above-rain": "more than rain takes at this frequency",
    "within-rain": "rain can take as much at this frequency",
    "cloud-reach": "what a thick cloud takes at this frequency",
    "cold": "so cold that snow falls instead of rain",
    "frost": "there was frost lately: snow or ice may lie on the reflector",
    "uplink-lost": "the uplink lost {uplink_db}, a turned dish would take {mispoint_db}",
    "level-fell": "the received level fell by {level_db}, behind a turned dish by {mispoint_db}",
    "may-be-mispoint": "may be: the dish has turned",
    "may-be-rain": "may be: rain on the path, perhaps not yet here",
    "may-be-reflector": "may be: water, dew, snow or ice on reflector or feed",
    "may-be-cloud": "may be: a thick cloud",
    "may-be-blockage": "may be: something in the beam",
    "may-be-interference": "may be: interference; compare the received level",
    "may-be-satellite": "may be: the satellite or the hub sends less; ask the network's desk",
    "may-be-drift": "may be: the receiver drifts; look at the LNB and its connector",
    "note-decides": "a note decides it: rain, or moved",
    "sure-almost": "almost certain",
    "sure-very-likely": "very likely",
    "sure-likely": "likely",
    "sure-possible": "possible",
    "sure-hardly": "hardly likely",
}
_LOSSES: Mapping[str, str] = {
    "rain": "Rain takes {loss_db}",
    "sun-pass": "The sun pass takes {loss_db}",
    "mispoint": "{loss_db} missing; perhaps the dish points off",
    "blockage": "{loss_db} missing; perhaps something stands in the beam",
    "cloud": "{loss_db} missing; perhaps thick clouds",
    "reflector": "{loss_db} missing; perhaps a wet or dirty dish",
    "interference": "{loss_db} missing; perhaps interference",
    "satellite": "{loss_db} missing; perhaps the satellite or the hub sends less",
    "drift": "{loss_db} missing; perhaps the receiver drifts",
    "unknown": "{loss_db} missing; the cause is not known yet",
}
_UNWATCHED = "not watched: {kinds}"
_SITUATION: Mapping[str, str | tuple[str, ...]] = {
    "waiting": "Waiting for the first readings",
    "no-signal-yet": "No signal reading yet",
    "see-to-signal": "See that the modem's readings arrive: peakshade listen shows what does",
    "nothing-through-now": "The last test got nothing through",
    "signal-unknown": "The signal is not known",
    "not-heard": "{input:cap} not heard for {silent_s}",
    "not-locked-yet": "Not locked yet: find the satellite",
    "find-satellite": (
        "Point the dish by the plan",
        "azimuth {azimuth_true_deg:1} from true north",
        "{azimuth_magnetic_deg:1} by the compass",
        "elevation {elevation_deg:1}",
        "polarisation skew {skew_deg:1}",
    ),
    "no-lock-now": "No lock for {lost_s}",
    "peaking": "Peaking under way",
    "tap-peaking-done": "Tap Peaking done when the dish stands still at its best",
    "not-peaked-yet": "Locked, not peaked yet",
    "peak-then-tap": "Peak the dish, then tap Peaking done",
    "taking-level": "Peaked; the level of the next minutes becomes the reference",
    "leave-dish-still": "Leave the dish as it stands meanwhile",
    "coming-up": "Lock is back; the link is coming up",
    "wait-coming-up": "Wait two minutes: from lock to online takes that long",
    "not-peaked-in-rain": "Locked, not peaked yet, and it rains",
    "peak-after-rain": "Wait for the rain to end, then peak the dish and tap Peaking done",
    **{f"loss-{cause}": words for cause, words in _LOSSES.items()},
    **{
        f"loss-{cause}-stream": f"{words}; the stream has {{left_mbps}} left" for cause, words in _LOSSES.items()
    },
    "missing": "{loss_db} missing",
    "shade-short": "Steady, but the shade does not help enough",
    "well-shade-works": ("All well; shade works: falling {fall_degc_per_min}", _UNWATCHED),
    "well-shade-judged-in": (
        "Shade is on; in {judged_in_s} I can tell whether it helps", _UNWATCHED,
    ),
    "well-adopted": ("All well against the first steady level; nobody has peaked", _UNWATCHED),
    "well": ("All well", _UNWATCHED),
    "next-sun-pass": "sun pass in {in_s}",
    "next-limit": "{where} at its limit in {in_s}",
    "next-battery": "battery empty in {in_s}",
    "safe-unshaded": SAFE_UNSHADED,
    "safe-all-day": SAFE_ALL_DAY,
}  # fmt: skip
PLAIN = "plain"  # what was never anything but words
_SIDES = {"": "", "for": "for: ", "against": "against: "}

TEMPLATES: Mapping[str, str | tuple[str, ...]] = {
    PLAIN: "{text}",
    **_HEADLINES,
    **_ACTIONS,
    **_EVIDENCE,
    **_CAUSES,
    **_SITUATION,
}


def text(said: Said, reader: Reader = METRIC) -> str:
    """The sentence for `reader`; KeyError for a code that is not here, or a figure that it lacks."""
    return _SIDES[said.side] + worded(TEMPLATES[said.code], _named(said.figures), reader)


def reworded(said: Codes, part: str, plain: str | Sequence[str], reader: Reader) -> list[str]:
    """What was said in this part for `reader`: `plain` where no codes are kept, or such as are not here any more."""
    try:
        return [text(one, reader) for one in said[part]]
    except KeyError:
        return [plain] if isinstance(plain, str) else list(plain)


def joined(sentences: Iterable[str]) -> str:
    """The parts of a verdict as one text."""
    return ". ".join(sentences)


def _named(figures: Mapping[str, float | str]) -> Mapping[str, float | str]:
    """The figures, with an input by its name for people: "temperature modem" is the modem thermometer."""
    kind, _, where = str(figures.get("input", "")).partition(" ")
    return {**figures, "input": f"{where} thermometer"} if where else figures
