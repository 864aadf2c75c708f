"""What people write on a field record, and the exact value it stands for.

Stops, times, tags and zones are written in the trade's shorthand: ``22½`` is half a stop past f/22, ``1/15``
is the shutter mark that stands for 1/16 s, ``N-1½`` is a development, ``III½`` a zone. Every ``parse_…``
function keeps the marked text beside the value, because the text is what the photographer will look for
again; every ``format_…`` function writes a value so that it can be read back.

The exact values behind the marks are those of Ray, *Applied Photographic Optics*: full stops 2^(k/2), halves
a further 2^(1/4), thirds a further 2^(1/6), times 2^-k s.

What is refused is refused because it could be read in two ways: ``221/2`` (a space lost, or 110.5?),
``22-1/3`` (a dash, or a third of a stop less?), ``1,000`` (one, or a thousand?).
"""

import re
from typing import Final

from negcat.notation.numbers import format_stops, parse_number
from negcat.notation.stops import Stop, format_stop, parse_stop
from negcat.notation.tags import Tag, format_tag, parse_tag
from negcat.notation.times import Time, format_clock, format_time, parse_time
from negcat.notation.zones import Zone, format_zone, parse_zone

__all__ = [
    "SHEET_ID",
    "Stop",
    "Tag",
    "Time",
    "Zone",
    "format_clock",
    "format_stop",
    "format_stops",
    "format_tag",
    "format_time",
    "format_zone",
    "parse_number",
    "parse_stop",
    "parse_tag",
    "parse_time",
    "parse_zone",
]

SHEET_ID: Final = re.compile(r"[A-Za-z0-9._-]+")
"""The id of a sheet; use it with ``fullmatch``."""
