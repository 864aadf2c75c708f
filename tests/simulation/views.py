"""The compositions: where the camera stood, its movements, the light. Focal lengths are the lenses' own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from . import near, scenes
from .setting import Camera, Scene, Weather

WIDE = (118.0, 92.0)
TALL = (92.0, 118.0)

OVERCAST = Weather(sun_lux=0, cloud_cover=1.0, zenith=5500, horizon=3000, cloud_light=6000)
BRIGHT_VEIL = Weather(
    sun_lux=9000,
    soft=7,
    sun_azimuth=250,
    sun_elevation=38,
    cloud_cover=1.0,
    zenith=5000,
    horizon=3500,
    cloud_light=5500,
)


@dataclass(frozen=True)
class Composition:
    scene: Callable[[], Scene]
    at: tuple[float, float, float]
    heading: float
    frame: tuple[float, float]
    weather: Weather
    rise: float = 0.0
    shift: float = 0.0

    def camera(self, focal: float, bellows: float | None = None) -> Camera:
        return Camera(self.at, self.heading, focal, self.frame, self.rise, self.shift, bellows)


def sun_at(azimuth: float, elevation: float, seed: int, cover: float = 0.45, **kw: float) -> Weather:
    return Weather(sun_azimuth=azimuth, sun_elevation=elevation, cloud_seed=seed, cloud_cover=cover, **kw)


def _yard(x: float, y: float, spread: float = 16.0) -> Callable[[], Scene]:
    return lambda: scenes.yard_site(focus=(x, y), spread=spread)


COMPOSITIONS: dict[str, Composition] = {
    "kilns": Composition(_yard(0, 0), (-3.0, -19.0, 1.6), 5.0, WIDE, sun_at(262, 30, 2, 0.5), 18),
    "chimney": Composition(_yard(2, -8), (7.5, -21.0, 1.6), -16.0, TALL, sun_at(110, 30, 3), 36),
    "wicket": Composition(_yard(-6, 4), (-4.2, -3.4, 1.6), -8.0, TALL, OVERCAST, -2),
    "long shed": Composition(_yard(-18, -10), (-16.2, -17.5, 1.6), -11.0, WIDE, OVERCAST, 6),
    "tip wagon": Composition(_yard(-1, -6), (-4.8, -10.5, 1.35), 32.0, WIDE, sun_at(250, 26, 4, 0.4), -8),
    "stacks": Composition(_yard(8, 0), (3.6, -6.2, 1.6), 33.0, WIDE, sun_at(285, 24, 5, 0.4), -4),
    "crown": Composition(_yard(0, 0), (22.0, -14.0, 1.6), -30.0, TALL, sun_at(235, 38, 6, 0.55), 62),
    "louvres": Composition(_yard(-18, -10), (-12.4, -8.5, 1.6), -62.0, WIDE, sun_at(133, 40, 1, 0.3), 2),
    "track": Composition(_yard(-1, -12), (-0.75, -17.5, 1.5), 3.0, TALL, OVERCAST, 8),
    "window": Composition(near.wall_site, (2.3, -6.2, 1.6), 0.0, TALL, OVERCAST, 4),
    "pit": Composition(scenes.pit_site, (4, -33.5, 0.3), -3.0, WIDE, sun_at(255, 30, 4, 0.4), -22),
    "clay face": Composition(scenes.pit_site, (-1, -3.0, -6.6), -24.0, WIDE, OVERCAST, 14),
    "pump house": Composition(scenes.pit_site, (-8, -12.0, -6.0), 36.0, TALL, sun_at(200, 42, 8, 0.5), 12),
    "cracked clay": Composition(
        near.cracked_site, (0, 0, 0.72), 0.0, TALL, replace(BRIGHT_VEIL, sun_lux=6000, soft=6.0), -112
    ),
    "posts in mist": Composition(
        scenes.pit_site, (8, -8.6, -6.7), -38.0, WIDE, replace(OVERCAST, haze_per_m=0.018, air=4300.0), 6
    ),
    "shelves": Composition(scenes.pit_site, (-1.0, -4, -5.5), -22.0, TALL, sun_at(235, 36, 9, 0.5), 26),
    "jetty": Composition(
        lambda: scenes.creek_site(water=-1.0), (-6.4, 1.2, 1.9), 52.0, WIDE, sun_at(285, 28, 6, 0.5), -6
    ),
    "stack over the marsh": Composition(
        lambda: scenes.creek_site(water=-0.3), (4.5, -22, 2.6), -8.0, TALL, sun_at(320, 22, 7), 10
    ),
    "staging at dusk": Composition(
        lambda: scenes.creek_site(water=-0.3, ripple=0.0015), (5.4, 2.8, 2.1), -29.0, WIDE,
        replace(OVERCAST, zenith=18, horizon=27, cloud_light=22, haze_per_m=0.006, air=22.0), -10,
    ),
    "reeds": Composition(
        lambda: scenes.creek_site(water=-0.3, bed=(-2.0, 31.0, 5.0, 4200)), (3.5, 21, 1.7), -32.0, TALL, OVERCAST, 4
    ),
    "creek": Composition(
        lambda: scenes.creek_site(water=-0.1), (6.5, -17, 2.4), -6.0, WIDE, sun_at(235, 34, 11, 0.55), 12
    ),
    "mud": Composition(lambda: scenes.creek_site(water=-1.45), (-7.2, 2, 1.5), 62.0, WIDE, OVERCAST, -34),
    "hinge": Composition(
        near.wall_site, (-0.36, -0.75, 1.66), 0.0, WIDE, replace(BRIGHT_VEIL, sun_azimuth=238.0), 0
    ),
    "door": Composition(near.wall_site, (-0.8, -6.2, 1.6), 2.0, WIDE, sun_at(225, 40, 1, 0.3), -4),
    "from the kiln": Composition(near.inside_site, (4.7, 19.4, 1.6), 183.0, TALL, sun_at(240, 45, 3, 0.4), 6),
}  # fmt: skip
