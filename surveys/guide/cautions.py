"""The cautions in short, said once: on Tonight, the phone, the printed sheet and in the guide.

Common practice of night road work and of the outdoors; where animals live is from memory. Local
law and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from surveys.language import gettext, gettext_noop

_GENERAL = (
    gettext_noop(
        "Traffic: park the whole car off the road, in plain view. Engine and headlights off;"
        " hazard lights on wherever others could come upon the car."
    ),
    gettext_noop("Be seen: wear a reflective vest, and blaze orange too in hunting season."),
    gettext_noop("People: go in pairs. Leave your route and return time with someone."),
    gettext_noop("Water: listen from firm ground; banks give way in the dark. Do not wade."),
    gettext_noop(
        "Weather: turn back for thunder, heavy rain, snow, ice, flood, strong wind, or fog too"
        " thick to drive safely."
    ),
    gettext_noop(
        "Thunder: get into a hard-topped car or a building at the first sound. Wait 30 minutes"
        " after the last."
    ),
    gettext_noop("Access: stay on public land, or get written permission."),
    gettext_noop(
        "Animals: listen and leave them be. Keep repellent and lotion on your hands away from frogs"
        " and their water. Clean and dry boots and gear before the next wetland."
    ),
    gettext_noop("Emergency: say the road, the nearest crossing, the county and the coordinates."),
)
_ALLIGATORS = gettext_noop(
    "Alligators: stay well back from the water’s edge at night, and keep dogs away from it."
)
_SNAKES = gettext_noop(
    "Venomous snakes: wear boots, light the ground, and look before you step or reach."
)
_FIRE_ANTS = gettext_noop(
    "Fire ants: look where you stand before you listen, and step away at the first sting."
)
_EVERYWHERE = (_ALLIGATORS, _SNAKES, _FIRE_ANTS)
# By calling region of the catalog; from memory.
_OF_REGION: Mapping[str, tuple[str, ...]] = {
    "upper-midwest": (_SNAKES,),
    "lower-midwest": (_SNAKES,),
    "northeast": (_SNAKES,),
    "southeast-coastal-plain": _EVERYWHERE,
    "interior-southeast": (_SNAKES, _FIRE_ANTS),
    "southern-plains": _EVERYWHERE,
    "northern-plains": (_SNAKES,),
    "desert-southwest": (_SNAKES, _FIRE_ANTS),
    "rockies-great-basin": (_SNAKES,),
    "pacific-coast": (_SNAKES,),
    "british-columbia": (_SNAKES,),
    "prairie-provinces": (_SNAKES,),
    "ontario-quebec": (_SNAKES,),
    "atlantic-canada": (),
    "alaska-northern-territories": (),
    "hawaii": (_FIRE_ANTS,),
}


def cautions(region: str | None = None) -> Iterator[str]:
    """In the reader's language, those of a calling region among them; of every region where it is
    not known."""
    *general, emergency = _GENERAL
    for text in (*general, *_OF_REGION.get(region or "", _EVERYWHERE), emergency):
        yield gettext(text)
