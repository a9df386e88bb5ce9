"""What each situation is to be called, how grave it is, what to do, and which events led there.

Events are "minute rule severity state"."""

from typing import NamedTuple


class Expected(NamedTuple):
    level: str
    verdict: str
    action: str
    events: tuple[str, ...]


EXPECTED: dict[str, Expected] = {
    'nothing heard but weather': Expected(
        'unknown', 'No signal reading yet',
        "See that the modem's readings arrive: peakshade listen shows what does",
        (),
    ),
    'not locked yet': Expected(
        'unknown', 'Not locked yet: find the satellite',
        'Point the dish by the plan, azimuth 201.3° from true north, 202.8° by the compass, elevation 45.0°, polarisation skew -16.4°',
        (),
    ),
    'not locked yet, streaming noted': Expected(
        'unknown', 'Not locked yet: find the satellite',
        'Point the dish by the plan, azimuth 201.3° from true north, 202.8° by the compass, elevation 45.0°, polarisation skew -16.4°',
        (),
    ),
    'lock for the first time': Expected(
        'unknown', 'Locked, not peaked yet',
        'Peak the dish, then tap Peaking done',
        (),
    ),
    'one reading without lock': Expected(
        'unknown', 'No lock for 10 s',
        '',
        (),
    ),
    'lock lost for twenty seconds': Expected(
        'unknown', 'No lock for 20 s',
        '',
        (),
    ),
    'lock lost for a minute': Expected(
        'act', 'The link is down: no lock',
        'Look in this order: the beam, LNB and cable, the dish, the transmitter; then call the operator',
        ('20.5 link-down act raised',),
    ),
    'lock lost while streaming': Expected(
        'urgent', 'The link is down: no lock',
        'Look in this order: the beam, LNB and cable, the dish, the transmitter; then call the operator',
        ('20.5 link-down urgent raised',),
    ),
    'lock lost for ten minutes': Expected(
        'urgent', 'The link is down: no lock',
        'Look in this order: the beam, LNB and cable, the dish, the transmitter; then call the operator',
        ('20.5 link-down urgent raised',),
    ),
    'lock lost, readings every two minutes, one': Expected(
        'unknown', 'No lock for 1 min',
        '',
        (),
    ),
    'lock lost, readings every two minutes, two': Expected(
        'act', 'The link is down: no lock',
        'Look in this order: the beam, LNB and cable, the dish, the transmitter; then call the operator',
        ('22.2 link-down act raised',),
    ),
    'lock lost in rain': Expected(
        'urgent', 'The link is down: no lock',
        'Rain: wait, leave the dish. Lock comes back with the sky; if not ten minutes after the rain, look at beam, LNB and cable, dish, transmitter',
        ('22.5 link-down urgent raised',),
    ),
    'lock lost by a knock': Expected(
        'act', 'The link is down: no lock',
        'Look at the dish first: it was knocked or blown. Transmitter off before anybody is in front of it; then re-peak',
        ('20.5 link-down act raised',),
    ),
    'lock lost by a gust': Expected(
        'act', 'The link is down: no lock',
        'Look at the dish first: it was knocked or blown. Transmitter off before anybody is in front of it; then re-peak',
        ('20.5 link-down act raised',),
    ),
    'lock lost with the supply': Expected(
        'act', 'The link is down: no lock',
        'The supply changed just before: see that modem, LNB and transmitter have power and come up; then the cables, then the dish',
        ('20.5 link-down act raised', '20.7 on-battery act raised'),
    ),
    'lock lost in a sun pass': Expected(
        'act', 'The link is down: no lock',
        'Sun pass: wait, leave the dish. Lock comes back when the sun has moved on',
        ('25.0 wait-sun-pass advise raised', '43.5 link-down act raised'),
    ),
    'lock lost while peaking': Expected(
        'unknown', 'Peaking under way',
        'Tap Peaking done when the dish stands still at its best',
        (),
    ),
    'lock comes back': Expected(
        'urgent', 'Lock is back; the link is coming up',
        'Wait two minutes: from lock to online takes that long',
        ('20.5 link-down urgent raised',),
    ),
    'lock back for five minutes': Expected(
        'fine', 'All well, not watched: rates, heat, rain',
        '',
        ('20.5 link-down urgent raised', '25.7 link-down urgent cleared'),
    ),
    'figures go on without lock': Expected(
        'act', 'The link is down: no lock',
        'Look in this order: the beam, LNB and cable, the dish, the transmitter; then call the operator',
        ('20.5 link-down act raised',),
    ),
    'lock alone is told': Expected(
        'advise', 'Locked, not peaked yet',
        'Peak the dish, then tap Peaking done',
        (),
    ),
    'locked, four minutes': Expected(
        'unknown', 'Locked, not peaked yet',
        'Peak the dish, then tap Peaking done',
        (),
    ),
    'locked, six minutes': Expected(
        'advise', 'Locked, not peaked yet',
        'Peak the dish, then tap Peaking done',
        (),
    ),
    'peaking': Expected(
        'unknown', 'Peaking under way',
        'Tap Peaking done when the dish stands still at its best',
        (),
    ),
    'peaked, level being taken': Expected(
        'unknown', 'Peaked; the level of the next minutes becomes the reference',
        'Leave the dish as it stands meanwhile',
        (),
    ),
    'peaked and watched': Expected(
        'fine', 'All well, not watched: rates, heat, rain',
        '',
        (),
    ),
    'steady near the plan, not peaked': Expected(
        'fine', 'All well against the first steady level; nobody has peaked, not watched: rates, heat, rain',
        '',
        (),
    ),
    'unsteady, not peaked': Expected(
        'advise', 'Locked, not peaked yet',
        'Peak the dish, then tap Peaking done',
        (),
    ),
    'steady below the plan': Expected(
        'advise', '2.5 dB below the plan',
        'Check polarisation, connectors and what stands in the path, and peak again; if that is all there is, tap Accept the level',
        ('11.0 below-plan advise raised',),
    ),
    'steady above the plan': Expected(
        'advise', 'Locked, not peaked yet',
        'Peak the dish, then tap Peaking done',
        (),
    ),
    'below the plan, uplink as a turned dish': Expected(
        'advise', '2.5 dB below the plan',
        'Check polarisation, connectors and what stands in the path, and peak again; if that is all there is, tap Accept the level',
        ('11.0 below-plan advise raised',),
    ),
    'below the plan, uplink fine': Expected(
        'advise', '2.5 dB below the plan',
        'The dish points as it should: check the LNB, its cable and for interference; if that is all there is, tap Accept the level',
        ('11.0 below-plan advise raised',),
    ),
    'below the plan, on a side lobe': Expected(
        'advise', '13.5 dB below the plan',
        'Check polarisation, connectors and what stands in the path, and peak again; if that is all there is, tap Accept the level',
        ('11.0 below-plan advise raised',),
    ),
    'below the plan, accepted': Expected(
        'fine', 'All well, not watched: rates, heat, rain',
        '',
        ('11.0 below-plan advise raised', '21.2 below-plan advise cleared'),
    ),
    'peaked below the plan': Expected(
        'advise', '2.5 dB below the plan',
        'Check polarisation, connectors and what stands in the path, and peak again; if that is all there is, tap Accept the level',
        ('5.3 below-plan advise raised',),
    ),
    'percent display, steady': Expected(
        'fine', 'All well against the first steady level; nobody has peaked, not watched: rates, heat, rain',
        '',
        (),
    ),
    'rain before anybody peaked': Expected(
        'advise', 'Locked, not peaked yet, and it rains',
        'Wait for the rain to end, then peak the dish and tap Peaking done',
        (),
    ),
    'all is watched and well': Expected(
        'fine', 'All well',
        '',
        (),
    ),
    'well, rates never heard': Expected(
        'fine', 'All well, not watched: rates',
        '',
        (),
    ),
    'signal late': Expected(
        'unknown', 'Signal not heard for 45 s',
        '',
        (),
    ),
    'signal silent for five minutes': Expected(
        'act', 'Signal has gone silent',
        'See why signal has gone silent: power, cable, the script that publishes it',
        ('24.0 no-data act raised',),
    ),
    'weather late': Expected(
        'unknown', 'Weather not heard for 5 min',
        '',
        (),
    ),
    'weather silent': Expected(
        'advise', 'Weather has gone silent',
        'See why weather has gone silent: power, cable, the script that publishes it',
        ('25.0 no-data advise raised',),
    ),
    'a loss nobody explains yet': Expected(
        'advise', '1.2 dB missing; the cause is not known yet; the stream has 0.8 Mbit/s left',
        '',
        (),
    ),
    'rain takes little': Expected(
        'advise', 'Rain takes 0.8 dB; the stream has 0.8 Mbit/s left',
        '',
        (),
    ),
    'rain takes much': Expected(
        'advise', 'Rain takes 3.1 dB; the stream has 0.8 Mbit/s left',
        'Rain fade: do not touch the dish, it comes back with the sky; lower the stream if it breaks up',
        ('23.2 wait-rain advise raised', '23.5 no-data advise raised'),
    ),
    'sun pass soon': Expected(
        'advise', 'Sun pass soon',
        'Sun pass: do not touch the dish; warn the producer, lower the stream meanwhile if need be',
        ('25.0 wait-sun-pass advise raised',),
    ),
    'sun pass now': Expected(
        'advise', 'Sun pass now. 4.5 dB missing',
        'Sun pass: do not touch the dish; warn the producer, lower the stream meanwhile if need be',
        ('25.0 wait-sun-pass advise raised',),
    ),
    'turned dish, uplink tells': Expected(
        'act', 'The dish points off. 1.9 dB missing',
        'Re-peak the dish when the stream can bear it; transmitter off before anybody is in front of it',
        ('23.7 repeak act raised',),
    ),
    'a re-peak of which nobody is sure any more': Expected(
        'advise', 'Look at the dish. 1.8 dB missing',
        'Look before you touch: rain or dark cloud where the dish points, water or snow on the reflector, anything in the beam, mount level and tight. Note rain or moved; if the dish has moved, re-peak, transmitter off before anybody is in front of it',
        ('23.7 repeak act raised', '27.7 repeak act cleared', '27.7 look-at-dish advise raised'),
    ),
    'a shower grows, uplink tells': Expected(
        'advise', 'Rain takes 4.5 dB',
        'Rain fade: do not touch the dish, it comes back with the sky; lower the stream if it breaks up',
        ('26.2 wait-rain advise raised',),
    ),
    'somebody in the beam': Expected(
        'act', 'Something stands in the beam. 6.8 dB missing',
        'Look for people, vehicles, a branch or a drone in front of the dish and keep the beam free',
        ('20.8 blockage act raised',),
    ),
    'somebody walked through': Expected(
        'advise', 'Something stood in the beam just now',
        'Look for people, vehicles, a branch or a drone in front of the dish and keep the beam free',
        ('20.7 blockage advise raised',),
    ),
    'a stray tap on rain over a turned dish': Expected(
        'act', 'The dish points off. 1.9 dB missing',
        'Re-peak the dish when the stream can bear it; transmitter off before anybody is in front of it',
        ('23.7 repeak act raised',),
    ),
    'rain noted, nothing lost': Expected(
        'fine', 'All well',
        '',
        (),
    ),
    'rain noted, signal falls, no gauge': Expected(
        'advise', 'Rain takes 4.0 dB',
        'Rain fade: do not touch the dish, it comes back with the sky; lower the stream if it breaks up',
        ('23.3 wait-rain advise raised',),
    ),
    'rain is over, by note': Expected(
        'fine', 'All well, not watched: rates, heat, rain',
        '',
        (),
    ),
    'a note undone': Expected(
        'fine', 'All well, not watched: rates, heat, rain',
        '',
        (),
    ),
    'two taps of one button': Expected(
        'unknown', 'Peaked; the level of the next minutes becomes the reference',
        'Leave the dish as it stands meanwhile',
        (),
    ),
    'first minute in the sun': Expected(
        'unknown', 'Locked, not peaked yet',
        'Peak the dish, then tap Peaking done',
        (),
    ),
    'in the sun for over an hour': Expected(
        'advise', 'Transmitter is long in the sun',
        'Shade the transmitter now; leave its cooling fins and the beam free',
        ('62.0 shade advise raised',),
    ),
    'heading for the limit': Expected(
        'act', 'Transmitter gets too hot',
        'Shade the transmitter now; leave its cooling fins and the beam free',
        ('28.0 shade act raised',),
    ),
    'over the limit': Expected(
        'urgent', 'Transmitter is over its limit',
        'Shade the transmitter now: it is over its limit. Housings may be hot to the touch',
        ('10.0 shade act raised', '30.0 shade urgent raised'),
    ),
    'shade just put up': Expected(
        'act', 'Transmitter gets too hot',
        'Shade is on; in 4 min I can tell whether it helps',
        ('28.0 shade act raised',),
    ),
    'shade works': Expected(
        'fine', 'All well; shade works: falling 0.3 °C a minute, not watched: rates, rain',
        '',
        ('28.0 shade act raised', '39.0 shade act cleared'),
    ),
    'shade does not help': Expected(
        'act', 'Transmitter gets too hot',
        'Still warming under the shade: let air move around the transmitter, keep cases off it',
        ('33.0 shade act raised',),
    ),
    'hot at night': Expected(
        'urgent', 'Transmitter is over its limit',
        "No sun is on it: let air move around the transmitter, keep cases off it; lower the power with the operator's consent",
        ('9.0 shade act raised', '30.0 shade urgent raised'),
    ),
    'modem too warm indoors': Expected(
        'urgent', 'Modem is over its limit',
        'Let air move around the modem, take off what lies on it; take load off it now',
        ('8.0 shade act raised', '26.0 shade urgent raised'),
    ),
    'heat on battery': Expected(
        'urgent', 'Transmitter is over its limit',
        "No sun is on it: let air move around the transmitter, keep cases off it; lower the power with the operator's consent",
        ('9.0 shade act raised', '20.7 on-battery act raised', '30.0 shade urgent raised'),
    ),
    'nothing gets through': Expected(
        'urgent', 'The stream is down: nothing gets through',
        "Find the hop that is dead: encoder, cable to the modem, modem's page, then the network's desk",
        ('20.7 stream-down urgent raised',),
    ),
    'nothing gets through, no stream': Expected(
        'advise', 'The last test got nothing through',
        "Repeat the throughput test by cable at the modem; if it stays low, call the network's desk",
        (),
    ),
    'nothing gets through in rain': Expected(
        'urgent', 'The stream is down: nothing gets through. 3.6 dB missing',
        'Rain takes too much for anything to get through: wait, leave the dish',
        ('20.7 stream-down urgent raised', '23.2 wait-rain advise raised', '23.5 no-data advise raised'),
    ),
    'nothing gets through, then lock is lost in rain': Expected(
        'urgent', 'The link is down: no lock',
        'Rain: wait, leave the dish. Lock comes back with the sky; if not ten minutes after the rain, look at beam, LNB and cable, dish, transmitter',
        ('20.7 stream-down urgent raised', '23.2 wait-rain advise raised', '23.5 no-data advise raised', '24.5 link-down urgent raised'),
    ),
    'weak uplink': Expected(
        'act', 'The uplink does not carry the stream',
        'Lower the stream to 1.7 Mbit/s',
        ('6.2 lower-stream act raised',),
    ),
    'weak tests have grown old': Expected(
        'advise', 'Throughput has gone silent',
        'See why throughput has gone silent: power, cable, the script that publishes it',
        ('6.2 lower-stream act raised', '25.0 no-data advise raised', '28.0 lower-stream act cleared'),
    ),
    'on battery': Expected(
        'act', 'Running on battery',
        'On battery: see to generator or mains (switch off before touching); end the stream in time',
        ('20.7 on-battery act raised', '23.5 no-data advise raised'),
    ),
    'battery nearly empty': Expected(
        'urgent', 'Running on battery',
        'On battery: see to generator or mains (switch off before touching); end the stream in time',
        ('20.7 on-battery urgent raised', '23.5 no-data advise raised'),
    ),
    'battery back within a minute': Expected(
        'act', 'Running on battery',
        'On battery: see to generator or mains (switch off before touching); end the stream in time',
        ('20.7 on-battery act raised', '23.7 on-battery act cleared', '25.7 on-battery act raised'),
    ),
    'alert seen': Expected(
        'act', 'Running on battery',
        'On battery: see to generator or mains (switch off before touching); end the stream in time',
        ('20.7 on-battery act raised', '23.0 on-battery act acknowledged'),
    ),
    'alert snoozed': Expected(
        'act', 'Running on battery',
        'On battery: see to generator or mains (switch off before touching); end the stream in time',
        ('20.7 on-battery act raised', '23.0 on-battery act acknowledged'),
    ),
    'snooze ends': Expected(
        'act', 'Running on battery',
        'On battery: see to generator or mains (switch off before touching); end the stream in time',
        ('20.7 on-battery act raised', '23.0 on-battery act acknowledged', '28.0 on-battery act raised'),
    ),
    'lock lost while heat leads': Expected(
        'urgent', 'Transmitter is over its limit. No lock for 10 s',
        'Shade the transmitter now: it is over its limit. Housings may be hot to the touch',
        ('10.0 shade act raised', '30.0 shade urgent raised'),
    ),
    'lock lost, then silence': Expected(
        'urgent', 'No lock when last heard; signal not heard for 3 min',
        'Look in this order: the beam, LNB and cable, the dish, the transmitter; then call the operator',
        ('20.5 link-down urgent raised',),
    ),
    'rain while heat leads': Expected(
        'urgent', 'Transmitter is over its limit. Rain takes 3.0 dB; the stream has 0.8 Mbit/s left',
        'Shade the transmitter now: it is over its limit. Housings may be hot to the touch',
        ('10.0 shade act raised', '28.2 wait-rain advise raised', '30.0 shade urgent raised'),
    ),
    'silence while the battery leads': Expected(
        'act', 'Running on battery. Signal not heard for 2 min',
        'On battery: see to generator or mains (switch off before touching); end the stream in time',
        ('20.7 on-battery act raised',),
    ),
    'rain with the dish turned': Expected(
        'advise', 'Rain takes 4.6 dB',
        'Rain fade: do not touch the dish, it comes back with the sky; lower the stream if it breaks up',
        ('23.7 repeak act raised', '25.2 repeak act cleared', '26.7 wait-rain advise raised'),
    ),
}  # fmt: skip
