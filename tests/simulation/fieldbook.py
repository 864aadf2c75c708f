"""The photographer's own book: what was metered, placed and intended for each sheet, in his words.

`zone` is where the first reading was placed. `stop` or `time` is left open (None) and is worked out as he
would, on the spot, from the meter. `u, v` say where in the picture a reading was taken (fractions of the
picture frame); the simulation looks round that point for the evenest patch.
"""

from __future__ import annotations

from dataclasses import dataclass, field

ALDWATER = "Aldwater convertible 195"
TRESSICK = "Tressick 150"
SORREL = "Sorrel 100"
MARL = "Marl 400"


@dataclass(frozen=True)
class Metered:
    name: str
    role: str
    u: float
    v: float
    zone: str | None = None


@dataclass(frozen=True)
class Entry:
    sheet: str
    film: str
    composition: str
    lens: str
    cell: str
    tag: str
    readings: tuple[Metered, ...]
    when: str
    place: str
    subject: str
    weather: str
    time: str | None = None  # as set; None: a long time, worked out and counted
    stop: str | None = None  # as set; None: worked out from the time
    parts: int = 3  # he sets the stop to whole, half or third parts
    scale: str | None = None
    bellows: float | None = None
    forgot_bellows: bool = False
    filter: str | None = None
    factor: float | None = None
    movements: dict[str, float] = field(default_factory=dict)
    meter_iso: int = 100
    how: str = "ev"  # "ev", "stops" (others by stops from the placed one), "indicated"
    off: float = 0.0  # stops he knowingly or carelessly gave beyond the plan
    notes: str = ""
    fresh: bool = True  # the meter read to a tenth, else to a third
    holder: str = ""
    side: str = "A"
    style: str = "½"


def _m(name: str, role: str, u: float, v: float, zone: str | None = None) -> Metered:
    return Metered(name, role, u, v, zone)


ENTRIES: tuple[Entry, ...] = (
    Entry(
        "BW-01", SORREL, "kilns", ALDWATER, "whole", "N",
        (_m("shaded side of the left kiln", "shadow", 0.16, 0.72, "III"), _m("sunlit dome", "middle", 0.22, 0.50), _m("cloud over the stack", "highlight", 0.62, 0.15)),
        "2026-04-18T16:20", "Hollin Brickworks, kiln yard", "Two kilns, the stack and the tip wagon, from the clay road",
        "sun through broken cloud from the west, light wind", time="1/15", movements={"front_rise_mm": 18}, holder="1", side="A",
        notes="The picture I came for. Waited for the sun to come round on to the domes.",
    ),
    Entry(
        "BW-02", SORREL, "chimney", ALDWATER, "whole", "N",
        (_m("shaded side of the plinth", "shadow", 0.50, 0.70, "III"), _m("sunlit brick of the stack", "middle", 0.63, 0.40), _m("cloud by the stack", "highlight", 0.85, 0.55)),
        "2026-04-18T10:05", "Hollin Brickworks, kiln yard", "The stack, 31 m, with all the rise the front has",
        "morning sun, fair-weather cloud", time="1/30", movements={"front_rise_mm": 36}, holder="1", side="B",
        notes="Image circle just holds. Top corners a little weak, print them in.",
    ),
    Entry(
        "BW-03", SORREL, "wicket", ALDWATER, "rear", "N+1",
        (_m("inside the arch", "shadow", 0.68, 0.68, "III"), _m("brick left of the arch", "middle", 0.30, 0.55), _m("pale trodden clay", "highlight", 0.25, 0.955)),
        "2026-04-18T11:40", "Hollin Brickworks, kiln yard", "Wicket of the first kiln, bricked up",
        "bright overcast, flat", time=None, stop="32", movements={"front_rise_mm": -2}, holder="2", side="A",
        notes="Rear cell alone behind the shutter, its own scale. Flat light, so N+1.",
    ),
    Entry(
        "BW-04", SORREL, "long shed", ALDWATER, "whole", "N+1",
        (_m("louvres in shade", "shadow", 0.20, 0.45, "III"), _m("the trodden way", "middle", 0.62, 0.80), _m("sky over the trees", "highlight", 0.75, 0.10)),
        "2026-04-18T12:30", "Hollin Brickworks, drying sheds", "The long shed, louvres half shut",
        "overcast, no shadows", time="1/4", movements={"front_rise_mm": 6, "front_swing_deg": 6}, holder="2", side="B",
        notes="Swing to run the plane down the wall.", fresh=False,
    ),
    Entry(
        "BW-05", MARL, "tip wagon", ALDWATER, "front", "N",
        (_m("shaded end of the wagon", "shadow", 0.42, 0.62, "IV"), _m("sunlit kiln wall", "highlight", 0.70, 0.25)),
        "2026-04-25T16:50", "Hollin Brickworks, kiln yard", "Tip wagon left where it last stood",
        "low sun, thin cloud", time="1/30", meter_iso=400, holder="3", side="A", style="dec",
        notes="front cell has no scale of its own: stop read off the whole lens's scale",
    ),
    Entry(
        "BW-06", SORREL, "stacks", TRESSICK, "150", "N",
        (_m("shaded end of the near stack", "shadow", 0.20, 0.75, "III"), _m("sunlit face of the stack", "middle", 0.60, 0.62), _m("sky low over the hedge", "highlight", 0.75, 0.30)),
        "2026-04-25T17:35", "Hollin Brickworks, hacks", "Green bricks in the hacks, never fired",
        "sun low in the west, clear", time="1/15", movements={"front_rise_mm": -4, "front_tilt_deg": 3}, holder="3", side="B", how="stops",
        notes="Half of these were wet last month. Frost has had the top course.",
    ),
    Entry(
        "BW-07", MARL, "crown", ALDWATER, "rear", "N",
        (_m("shadow under the crown", "shadow", 0.12, 0.95, "III"), _m("lit side of the dome", "highlight", 0.45, 0.70)),
        "2026-04-25T13:10", "Hollin Brickworks, kiln yard", "Crown of the third kiln against the stack",
        "sun and cloud by turns", time="1/60", meter_iso=400, movements={"front_rise_mm": 62}, holder="4", side="A", style="third",
        notes="rear cell, own scale",
    ),
    Entry(
        "BW-08", SORREL, "louvres", ALDWATER, "front", "N-1",
        (_m("under the open louvres", "shadow", 0.12, 0.30, "III"), _m("brick pillar", "middle", 0.29, 0.45), _m("lit edge of a louvre", "highlight", 0.60, 0.50)),
        "2026-04-25T12:20", "Hollin Brickworks, drying sheds", "Louvres and pillar, raking sun",
        "clear, sun high", time="1/8", holder="4", side="B", how="indicated", fresh=False,
        notes="Set the meter to 100, placed the dark gap on III, took what it showed. Stop from the whole lens's scale, one part in 3.04 of light lost to the longer cell allowed for.",
    ),
    Entry(
        "BW-09", MARL, "track", TRESSICK, "150", "N+1",
        (_m("wall of the left kiln", "shadow", 0.15, 0.60, "III"), _m("sky", "highlight", 0.70, 0.15)),
        "2026-04-25T11:15", "Hollin Brickworks, kiln yard", "Rails to the kilns",
        "overcast", time="1/60", meter_iso=400, movements={"front_rise_mm": 8}, holder="5", side="A", style="dec",
        notes="weeds have the track now",
    ),
    Entry(
        "BW-10", SORREL, "window", ALDWATER, "rear", "N+1",
        (_m("brickwork beside the window", "shadow", 0.08, 0.60, "IV"), _m("painted glazing bar and sill", "highlight", 0.40, 0.895)),
        "2026-04-25T10:30", "Hollin Brickworks, engine house", "Engine-house window, four panes gone",
        "overcast, even", time=None, stop="22½", scale="whole", movements={"front_rise_mm": 4}, holder="5", side="B",
        notes="The rear scale is rubbed bare past 22, so set by the whole lens's scale and worked out the rest on paper.",
    ),
    Entry(
        "BW-11", SORREL, "pit", ALDWATER, "whole", "N-1",
        (_m("cut face in shadow", "shadow", 0.12, 0.52, "III"), _m("standing water", "middle", 0.42, 0.85), _m("sunlit shelf", "highlight", 0.40, 0.94)),
        "2026-05-02T16:05", "Hollin clay pits, north pit", "The north pit from the rim, pump house right",
        "sun in the west, some cloud", time="1/30", movements={"front_rise_mm": -22}, holder="1", side="A",
        notes="Seven stops and more from the shaded face to the clay in the sun. N−1.",
    ),
    Entry(
        "BW-12", SORREL, "clay face", ALDWATER, "front", "N+1",
        (_m("damp clay at the foot", "shadow", 0.35, 0.80, "IV"), _m("third shelf, face", "middle", 0.45, 0.42), _m("dry lip of the shelf", "highlight", 0.30, 0.56)),
        "2026-05-02T10:45", "Hollin clay pits, north pit", "Four shelves of clay and a ladder",
        "overcast, still", time=None, stop="16 1/3", movements={"front_rise_mm": 14}, holder="1", side="B",
        notes="Front cell. The whole face is inside three stops.",
    ),
    Entry(
        "BW-13", SORREL, "pump house", ALDWATER, "rear", "N",
        (_m("door of the pump house", "shadow", 0.42, 0.41, "III½"), _m("lit clay below", "highlight", 0.45, 0.70)),
        "2026-05-02T13:30", "Hollin clay pits, north pit", "Pump house on the third shelf",
        "sun, high cloud", time="1/8", movements={"front_rise_mm": 12}, holder="2", side="A",
        notes="Rear cell at its own scale. Wind in the ash behind.",
    ),
    Entry(
        "BW-14", SORREL, "cracked clay", TRESSICK, "150", "N+2",
        (_m("brick in the hollow", "shadow", 0.68, 0.70, "IV"), _m("dry plate of clay", "highlight", 0.20, 0.55)),
        "2026-05-02T11:50", "Hollin clay pits, pan of the old pit", "Dried pan with half a brick",
        "veiled sun, very soft", time="1/8", bellows=182, forgot_bellows=True, movements={"front_rise_mm": -112, "front_tilt_deg": 12}, holder="2", side="B",
        notes="Bellows at 182 mm and I forgot to allow for it. Measured only when packing up. Will be thin.",
    ),
    Entry(
        "BW-15", SORREL, "posts in mist", ALDWATER, "whole", "N+2",
        (_m("near post", "shadow", 0.925, 0.85, "III"), _m("far face in the mist", "middle", 0.50, 0.45), _m("sky", "highlight", 0.50, 0.06)),
        "2026-05-02T07:10", "Hollin clay pits, north pit", "Posts in the flooded pit, early mist",
        "mist, no wind at all", time="1/30", movements={"front_rise_mm": 6}, holder="3", side="A",
        notes="Hardly four stops in it. Gone in ten minutes.",
    ),
    Entry(
        "BW-16", MARL, "shelves", ALDWATER, "front", "N",
        (_m("face in shadow", "shadow", 0.10, 0.66, "III"), _m("face in the sun", "highlight", 0.42, 0.68)),
        "2026-05-02T15:15", "Hollin clay pits, north pit", "Shelves, ladder and the ash tree",
        "sun and cloud", time="1/60", meter_iso=400, movements={"front_rise_mm": 26}, holder="3", side="B", style="third",
        notes="front cell, whole lens's scale",
    ),
    Entry(
        "BW-17", SORREL, "jetty", ALDWATER, "whole", "N",
        (_m("shaded side of the post", "shadow", 0.66, 0.62, "III"), _m("mud bank", "middle", 0.30, 0.58), _m("cloud", "highlight", 0.75, 0.12)),
        "2026-05-09T17:20", "Sallow Creek, clay staging", "Staging at low water",
        "sun from behind broken cloud", time="1/30", movements={"front_rise_mm": -6}, holder="1", side="A",
        notes="Low water 17.05. Ebb still running off the mud.",
    ),
    Entry(
        "BW-18", MARL, "stack over the marsh", ALDWATER, "rear", "N",
        (_m("side of the punt", "shadow", 0.50, 0.93, "III"), _m("sky left of the stack", "highlight", 0.25, 0.30)),
        "2026-05-09T19:05", "Sallow Creek, sea wall", "The stack seen over the marsh, punt below",
        "low sun in front and right, clear", time="1/60", meter_iso=400, movements={"front_rise_mm": 10}, holder="1", side="B", style="third",
        notes="rear cell, own scale; shaded the lens with the dark slide",
    ),
    Entry(
        "BW-19", MARL, "staging at dusk", ALDWATER, "whole", "N+1",
        (_m("planks of the staging", "shadow", 0.30, 0.90, "IV"), _m("sky", "highlight", 0.30, 0.15)),
        "2026-05-09T21:10", "Sallow Creek, clay staging", "Staging after sunset, slack water",
        "after sunset, calm", time=None, stop="22", meter_iso=400, movements={"front_rise_mm": -10}, holder="2", side="A", style="dec",
        notes="time lengthened by the film's own law; counted",
    ),
    Entry(
        "BW-20", MARL, "reeds", ALDWATER, "rear", "N+1",
        (_m("foot of the reeds", "shadow", 0.40, 0.93, "III"), _m("sky", "highlight", 0.50, 0.04)),
        "2026-05-09T14:30", "Sallow Creek, east bank", "Last year's reeds",
        "overcast, light air", time="1/30", meter_iso=400, movements={"front_rise_mm": 4}, holder="2", side="B", style="third",
        notes="rear cell, own scale; waited for the wind to drop",
    ),
    Entry(
        "BW-21", SORREL, "creek", TRESSICK, "150", "N-1",
        (_m("bank below the punt", "shadow", 0.10, 0.76, "III"), _m("marsh", "middle", 0.45, 0.88), _m("cloud", "highlight", 0.60, 0.20)),
        "2026-05-09T12:40", "Sallow Creek, sea wall", "The creek, the punt and a great deal of sky",
        "sun, towering cloud inland", time="1/15", filter="yellow", factor=2.0, movements={"front_rise_mm": 12}, holder="3", side="A",
        notes="Medium yellow to hold the cloud.",
    ),
    Entry(
        "BW-22", SORREL, "mud", ALDWATER, "front", "N+2",
        (_m("post, wet part", "shadow", 0.41, 0.75, "III"), _m("mud slope", "middle", 0.27, 0.40), _m("wet sheen", "highlight", 0.15, 0.47)),
        "2026-05-09T16:10", "Sallow Creek, clay staging", "Mud and staging, the last of the ebb",
        "thin overcast", time=None, stop="f/16", movements={"front_rise_mm": -34}, holder="3", side="B", fresh=False,
        notes="Front cell, stop from the whole lens's scale. All greys; N+2 to part them.",
    ),
    Entry(
        "BW-23", SORREL, "hinge", TRESSICK, "150", "N+1",
        (_m("rusty strap", "shadow", 0.68, 0.37, "III½"), _m("grey oak", "middle", 0.45, 0.75), _m("palest board", "highlight", 0.80, 0.75)),
        "2026-05-14T10:20", "Hollin Brickworks, engine house", "Strap hinge on the engine-house door",
        "veiled sun from the left", time=None, stop="22½", bellows=186, holder="1", side="A",
        notes="Bellows 186 mm allowed for, and the film's table after that.",
    ),
    Entry(
        "BW-24", SORREL, "from the kiln", TRESSICK, "150", "N-1",
        (_m("soot-black wall by the wicket", "shadow", 0.20, 0.55, "II"), _m("floor inside the door", "middle", 0.45, 0.88), _m("yard in the sun", "highlight", 0.47, 0.80)),
        "2026-05-14T12:05", "Hollin Brickworks, kiln yard", "Out of the second kiln",
        "sun outside, black dark inside", time=None, stop="22", movements={"front_rise_mm": 6}, holder="1", side="B",
        notes="Wall on II, let the yard go where it would.",
    ),
)  # fmt: skip

#: batch → (tag, film, minutes and seconds as written, date, note)
BATCHES: tuple[tuple[str, str, str, str, str, str], ...] = (
    ("D-61", "N", SORREL, "9m", "2026-05-15", "Fresh developer. All of the ordinary ones."),
    ("D-62", "N+1", SORREL, "10m", "2026-05-15", "My guess for N+1, a minute more than N. Not tested."),
    ("D-63", "N-1", SORREL, "7m30s", "2026-05-16", "A minute and a half less than N."),
    ("D-64", "N", MARL, "11m", "2026-05-16", "Time off the film's leaflet."),
    ("D-65", "N+1", MARL, "12m15s", "2026-05-17", "Same guess as for the other film: a ninth more."),
    ("D-66", "N+2", SORREL, "15m45s", "2026-05-17", "Long, tray covered between turns."),
)
