"""What photographers may write and record, for Hypothesis; shared by all property tests."""

from hypothesis import strategies as st

from negcat.exposure import Cell, Lens, MeteredReading, Setting
from negcat.reciprocity import NoLaw, PowerLaw, TableLaw

FULL_STOPS = [
    "1",
    "1.4",
    "2",
    "2.8",
    "4",
    "5.6",
    "8",
    "11",
    "16",
    "22",
    "32",
    "45",
    "64",
    "90",
    "128",
    "256",
    "512",
]
FRACTIONS = {
    "½": 1 / 2,
    " 1/2": 1 / 2,
    "+1/2": 1 / 2,
    "⅓": 1 / 3,
    " 1/3": 1 / 3,
    "+⅓": 1 / 3,
    " 2/3": 2 / 3,
    "¼": 1 / 4,
}
MARKED_TIMES = [f"1/{mark}" for mark in (2, 4, 8, 15, 30, 60, 125, 250, 500, 1000)]
OLD_TIMES = [f"1/{mark}" for mark in (3, 5, 10, 25, 50, 100, 200, 300)]
ROMAN = ["0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X"]


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """Return finite numbers between two limits, both taken."""
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


f_numbers = numbers(0.5, 1024)
seconds = numbers(1e-4, 48 * 3600)
tag_numbers = st.one_of(st.sampled_from([k / 2 for k in range(-10, 9)]), numbers(-5, 4))
zone_numbers = numbers(0, 10)

full_stop_marks = st.builds(
    lambda before, mark: before + mark,
    st.sampled_from(["", "f/", "F", "f", "F/", "f "]),
    st.sampled_from(FULL_STOPS),
)
fraction_marks = st.sampled_from(sorted(FRACTIONS))
stop_texts = st.one_of(
    full_stop_marks,
    st.builds(lambda mark, part: mark + part, full_stop_marks, fraction_marks),
    st.decimals(1, 500, places=1).map(str),
)
time_texts = st.one_of(
    st.builds(
        lambda mark, unit: mark + unit,
        st.sampled_from(MARKED_TIMES + OLD_TIMES),
        st.sampled_from(["", "s", " s", " sec"]),
    ),
    st.builds(
        lambda value, unit: f"{value}{unit}",
        st.integers(1, 59),
        st.sampled_from(["", "s", " s", '"', "m", " min", "h"]),
    ).filter(lambda text: not (text.endswith("h") and int(text[:-1]) > 48)),
    st.builds(lambda m, s: f"{m}m{s}s", st.integers(1, 90), st.integers(1, 59)),
    st.builds(lambda m, s: f"{m}:{s:02d}", st.integers(1, 90), st.integers(0, 59)),
)
tag_texts = st.builds(
    lambda letter, sign, size: f"{letter}{sign}{size}",
    st.sampled_from(["N", "n", ""]),
    st.sampled_from(["+", "-", "−", " + ", " - "]),
    st.sampled_from(["0", "1", "2", "3", "½", "1/2", "1½", "1 1/2", "1.5", "0.5", "2⅓"]),
)
zone_texts = st.one_of(
    st.builds(
        lambda numeral, part: numeral + part, st.sampled_from(ROMAN[:-1]), st.sampled_from(["", *FRACTIONS])
    ),
    st.decimals(0, 10, places=2).map(str),
)

powers = st.builds(PowerLaw, numbers(1, 2), numbers(0.1, 10))


@st.composite
def tables(draw: st.DrawFn) -> TableLaw:
    """Return tables as data sheets print them: times a factor apart, the loss anything that rises."""
    metered = draw(numbers(0.1, 4))
    given = metered * draw(numbers(1, 3))
    points = [(metered, given)]
    for _ in range(draw(st.integers(1, 5))):
        metered *= draw(numbers(1.5, 10))
        given = max(metered, given * 1.05) * draw(numbers(1, 20))
        points.append((metered, given))
    return TableLaw(tuple(points))


laws = st.one_of(st.just(NoLaw()), powers, tables())


@st.composite
def convertibles(draw: st.DrawFn) -> Lens:
    """Return convertible lenses of which everything is known."""
    front = draw(numbers(200, 900))
    errors = st.sampled_from([0.0, 0.0, -0.5, 0.25])
    return Lens(
        "Convertible",
        {
            "whole": Cell(
                draw(numbers(100, 190)), "whole", pupil_ratio=draw(st.one_of(st.none(), numbers(0.6, 1.6)))
            ),
            "front": Cell(
                front,
                "front",
                draw(st.booleans()),
                draw(numbers(0, 0.3)) * front,
                scale_error_stops=draw(errors),
            ),
            "rear": Cell(
                draw(numbers(200, 900)), "behind", draw(st.booleans()), scale_error_stops=draw(errors)
            ),
        },
    )


@st.composite
def settings_of_sheets(draw: st.DrawFn) -> Setting:
    """Return exposures of which everything is known, with any correction."""
    ev = draw(numbers(-4, 18))
    placed = MeteredReading("shadow", "shadow", ev=ev, zone=draw(numbers(1, 6)), placed=True)
    others = [
        MeteredReading("brighter", "highlight", ev=ev + draw(numbers(0, 7))),
        MeteredReading("between", "middle", stops_from_placed=draw(numbers(0, 4))),
    ]
    lens = draw(convertibles())
    cell = draw(st.sampled_from(["whole", "front", "rear"]))
    time_s = draw(numbers(0.001, 300))
    return Setting(
        tuple(draw(st.permutations([placed, *others]))),
        exposure_index=draw(st.sampled_from([6.0, 25.0, 64.0, 100.0, 125.0, 200.0, 320.0])),
        meter_iso=draw(st.sampled_from([50.0, 100.0, 400.0])),
        f_number=draw(numbers(4, 128)),
        time_s=time_s,
        lens=lens,
        cell=cell,
        stop_scale=draw(st.sampled_from([None, "whole", "front", "rear"])),
        shutter=draw(st.one_of(st.just({}), numbers(0.7, 1.5).map(lambda ratio: {time_s: time_s * ratio}))),
        reciprocity=draw(laws),
        filter_factor=draw(st.one_of(st.none(), numbers(1, 16))),
        bellows_mm=draw(
            st.one_of(st.none(), numbers(1, 2.5).map(lambda ratio: ratio * lens.cells[cell].focal_mm))
        ),
        n=draw(tag_numbers),
    )
