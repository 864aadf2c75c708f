"""What a season teaches: estimates in their gauge, what can't be told apart, accidents, and advice."""

from dataclasses import replace

import numpy as np
import pytest

from negcat.errors import QuantityError
from negcat.learning import Film, Lens, Reading, Season, Sheet, learn
from negcat.sensitometry import built_in_target
from tests.simulation.seasons import CONVERTIBLE, FILMS, FRONT, REAR, SCENARIOS, WHOLE, Kind, made

TARGET = built_in_target()
SORREL, MARL = FILMS


@pytest.fixture(scope="module")
def ordinary():
    season, truth = made(SCENARIOS["ordinary"], 11)
    return season, truth, learn(season)


def factor(learned, kind, *names):
    return next(one for one in learned.factors if one.factor == kind and one.names == names)


def one_sheet(name="S-1", *, zone=(3.0, 7.0), stops=0.0, n=0.0, index=100.0, density_sd=0.01, **more):
    """A sheet of the target's own shape, without any noise."""
    zones = np.array(zone) + stops
    print_zones = np.where(zones > 1, 1 + 7 / (7 - n) * (zones - 1), zones)
    readings = tuple(
        Reading(float(z), float(d), density_sd, f"r{i}")
        for i, (z, d) in enumerate(zip(zone, TARGET.density(print_zones), strict=True))
    )
    known = {
        "sheet": name, "film": "Kiln 100", "lens": "Haldane 240", "cell": "240", "shutter": "Haldane 240",
        "marked_time": "1/8", "time_s": 0.125, "effective_s": 0.125, "by_hand": False,
        "exposure_index": index, "planned_n": 0.0, "readings": readings,
        "developer": "Slip", "dilution": "1+49", "batch": "D-1", "development_s": 600.0, "temperature_c": 20.0,
    }  # fmt: skip
    return Sheet(**{**known, **more})


def season_of(*sheets, films=None, lenses=None, **more):
    films = films or (Film("Kiln 100", 100.0),)
    lenses = lenses or (Lens("Haldane 240", ("240",), "240"),)
    return Season(sheets=sheets, films=films, lenses=lenses, target=TARGET, **more)


# The ordinary season -----------------------------------------------------------------------------------------


def test_an_ordinary_season_is_found_out(ordinary):
    _, truth, learned = ordinary
    for index in learned.exposure_index:
        assert np.log2(index.indicated / index.used) == pytest.approx(truth.film[index.film], abs=0.25)
        assert index.low < index.indicated < index.high
    for cell, true in truth.cell.items():
        assert factor(learned, "cell", CONVERTIBLE, cell).error_stops == pytest.approx(true, abs=0.12)
    for law in learned.reciprocity:
        assert law.exponent_indicated == pytest.approx(truth.exponent[law.film], abs=0.08)
    for tag in learned.development:
        if tag.planned_n == 1.0:
            assert tag.advised_time_s == pytest.approx(truth.time_for[tag.film, 1.0], rel=0.10)
    reading = next(level for level in learned.noise if level.name == "reading")
    assert reading.low < 0.1 < reading.high
    assert learned.spoiled == ()
    assert learned.measured == learned.sheets


def test_the_gauge(ordinary):
    season, _, learned = ordinary
    whole = factor(learned, "cell", CONVERTIBLE, WHOLE)
    assert whole.is_reference
    assert (whole.error_stops, whole.sd, whole.advised) == (0.0, 0.0, False)
    times = [one for one in learned.factors if one.factor == "shutter_time"]
    mean = sum(one.error_stops * len(one.sheets) for one in times) / len(season.sheets)
    assert mean == pytest.approx(0.0, abs=1e-9)
    for index in learned.exposure_index:
        film = factor(learned, "film", index.film)
        assert index.indicated == pytest.approx(index.used * 2**film.error_stops)
        assert (index.advised, index.sheets) == (film.advised, film.sheets)


def test_advice_only_where_the_interval_leaves_zero_out(ordinary):
    learned = ordinary[2]
    for one in learned.factors:
        clear = not one.is_reference and (one.low > 0 or one.high < 0)
        assert one.advised == (clear and one.factor in ("film", "lens", "cell", "shutter_time"))
        assert bool(one.reason) == (not one.advised)
    for law in learned.reciprocity:
        assert law.advised == (law.low > law.exponent_used or law.high < law.exponent_used)
    for tag in learned.development:
        assert tag.advised == (
            tag.advised_low_s is not None and not tag.advised_low_s <= tag.time_s <= tag.advised_high_s
        )


def test_entanglement_is_said_of_both(ordinary):
    entangled = {f"{one.factor}: {one.level}": one.entangled_with for one in ordinary[2].factors}
    entangled |= {f"reciprocity: {law.film}": law.entangled_with for law in ordinary[2].reciprocity}
    assert all(key in entangled[other] for key, others in entangled.items() for other in others)


def test_the_order_of_sheets_is_no_matter(ordinary):
    season, _, learned = ordinary
    again = learn(replace(season, sheets=season.sheets[::-1]))
    for one, other in zip(learned.exposure_index, again.exposure_index, strict=True):
        assert other.indicated == pytest.approx(one.indicated, rel=1e-3)
        assert other.low == pytest.approx(one.low, rel=2e-3)


def test_what_moves_a_sheets_points_is_told(ordinary):
    season, _, learned = ordinary
    assert [effect.sheet for effect in learned.effects] == list(learned.measured)
    for sheet, effect in zip(season.sheets, learned.effects, strict=True):
        cell = factor(learned, "cell", CONVERTIBLE, sheet.cell).error_stops
        film = factor(learned, "film", sheet.film).error_stops
        time = factor(learned, "shutter_time", sheet.shutter, sheet.marked_time).error_stops
        rest = effect.factors_stops - cell - film - time
        assert abs(rest) < 0.9  # reciprocity, tag and batch
        assert 0.0 < effect.own_sd < 0.2
    contrasts = {effect.contrast for effect in learned.effects}
    assert len(contrasts) > 4


def test_curves_run_by_the_index_in_use(ordinary):
    learned = ordinary[2]
    for curve, index in zip(
        learned.curves, sorted(learned.exposure_index, key=lambda one: one.film), strict=True
    ):
        assert curve.film == index.film
        assert all(a < b for a, b in zip(curve.densities, curve.densities[1:], strict=False))
        # Zone I lies where the film's own speed puts it: net 0.10 at 1 − error.
        at = np.interp(0.10, curve.densities, curve.zones)
        assert at == pytest.approx(1.0 - np.log2(index.indicated / index.used), abs=0.06)


# What can't be told apart ------------------------------------------------------------------------------------


def test_a_front_cell_used_with_one_tag_only_is_entangled_with_it_both_ways():
    found = []
    for seed in range(3):
        learned = learn(made(SCENARIOS["front cell with N-1 only"], seed)[0])
        front, tag = (
            factor(learned, "cell", CONVERTIBLE, FRONT),
            factor(learned, "tag", "Ousel", "1+25", "N-1"),
        )
        rear = factor(learned, "cell", CONVERTIBLE, REAR)
        found.append(
            "tag: N-1" in front.entangled_with and f"cell: {CONVERTIBLE} / front" in tag.entangled_with
        )
        assert "tag: N-1" not in rear.entangled_with
        assert front.sd > 2 * rear.sd
    assert sum(found) >= 2


def test_two_lenses_of_which_each_has_its_own_film_are_entangled_with_the_films():
    lenses = (Lens("Haldane 240", ("240",), "240"), Lens("Corrin 300", ("300",), "300"))
    films = (Film("Kiln 100", 100.0), Film("Marl 400", 400.0))
    other = {
        "film": "Marl 400",
        "lens": "Corrin 300",
        "cell": "300",
        "shutter": "Haldane 240",
        "index": 400.0,
    }
    sheets = [one_sheet(f"A-{i}", batch=f"D-{i}") for i in range(8)]
    sheets += [one_sheet(f"B-{i}", batch=f"E-{i}", stops=0.5, **other) for i in range(6)]
    learned = learn(season_of(*sheets, films=films, lenses=lenses))
    cell = factor(learned, "cell", "Corrin 300", "300")
    assert not cell.is_reference
    assert "film: Marl 400" in cell.entangled_with
    assert cell.error_stops + factor(learned, "film", "Marl 400").error_stops == pytest.approx(0.5, abs=0.1)
    assert factor(learned, "cell", "Haldane 240", "240").is_reference


def test_a_further_lens_with_several_cells_is_told_as_a_lens():
    lenses = (Lens("Haldane 240", ("240",), "240"), Lens("Corrin 300", ("whole", "rear"), "whole"))
    sheets = [one_sheet(f"A-{i}", batch=f"D-{i}") for i in range(8)]
    sheets += [
        one_sheet(f"B-{i}", batch=f"D-{i}", stops=0.4, lens="Corrin 300", cell="whole") for i in range(3)
    ]
    sheets += [
        one_sheet(f"C-{i}", batch=f"D-{i}", stops=-0.2, lens="Corrin 300", cell="rear") for i in range(4)
    ]
    learned = learn(season_of(*sheets, lenses=lenses))
    assert factor(learned, "lens", "Corrin 300").error_stops == pytest.approx(0.4, abs=0.06)
    assert factor(learned, "cell", "Corrin 300", "whole").is_reference
    assert factor(learned, "cell", "Corrin 300", "rear").error_stops == pytest.approx(-0.6, abs=0.08)


# Accidents ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def quiet():
    season, _ = made(SCENARIOS["no noise of sheets or batches"], 11)
    return season, learn(season)


def spoil(season, at, change):
    sheets = list(season.sheets)
    sheets[at] = replace(sheets[at], readings=tuple(change(i, r) for i, r in enumerate(sheets[at].readings)))
    return replace(season, sheets=tuple(sheets))


def three_readings(season):
    return next(
        i for i, sheet in enumerate(season.sheets) if len(sheet.readings) == 3 and sheet.planned_n == 0.0
    )


@pytest.mark.parametrize(
    ("change", "looks_like"),
    [
        (lambda i, r: replace(r, net_density=r.net_density + 0.3), "fog"),
        (lambda i, r: replace(r, zone=r.zone - 1.25), "double exposure"),
        (lambda i, r: replace(r, net_density=r.net_density + 0.4) if i == 2 else r, "mistaken reading"),
        (lambda i, r: replace(r, zone=r.zone + 1.3 + 0.9 * i), "stands apart"),
    ],
)
def test_a_spoiled_sheet_is_named_and_drags_nothing(quiet, change, looks_like):
    season, clean = quiet
    at = three_readings(season)
    learned = learn(spoil(season, at, change))
    assert [(one.sheet, one.looks_like) for one in learned.spoiled] == [(season.sheets[at].sheet, looks_like)]
    found = learned.spoiled[0]
    assert found.probability > 0.9
    if looks_like == "mistaken reading":
        assert found.reading == "reading 2"
        assert found.amount == pytest.approx(0.4, abs=0.12)
    if looks_like == "fog":
        assert (found.unit, found.amount) == ("density", pytest.approx(0.3, abs=0.1))
    for one, other in zip(clean.factors, learned.factors, strict=True):
        if one.factor in ("film", "cell"):
            assert other.error_stops == pytest.approx(one.error_stops, abs=0.08)


def test_the_wrong_film_in_the_holder_is_named():
    season, truth = made(SCENARIOS["5 % of sheets spoiled"], 1)
    wrong = {sheet for sheet, accident in truth.spoiled.items() if accident == "wrong film"}
    named = {one.sheet: one for one in learn(season).spoiled}
    assert wrong
    films = {sheet.sheet: sheet.film for sheet in season.sheets}
    for sheet in wrong:
        assert named[sheet].looks_like == "wrong film"
        assert named[sheet].other_film == next(film for film in FILMS if film != films[sheet])


# Bounds ------------------------------------------------------------------------------------------------------


def test_lost_shadows_count_as_bounds():
    """Highlights alone would leave room for a faster film; that the shadows are lost shuts it out."""
    sheets = [one_sheet(f"S-{i}", zone=(6.0,), stops=-1.2, batch=f"D-{i}") for i in range(6)]
    without = learn(season_of(*sheets)).exposure_index[0]
    lost = Reading(1.2, name="lost", bound="clearer", bound_density=0.03)
    seen = replace(lost, bound="denser", bound_density=0.12)
    with_lost = learn(season_of(*(replace(s, readings=(*s.readings, lost)) for s in sheets))).exposure_index[
        0
    ]
    with_seen = learn(season_of(*(replace(s, readings=(*s.readings, seen)) for s in sheets))).exposure_index[
        0
    ]
    assert with_lost.indicated < without.indicated < with_seen.indicated
    assert with_lost.sd_stops < without.sd_stops


def test_a_density_too_thin_to_be_a_figure_is_a_bound():
    sheets = [one_sheet(f"S-{i}", batch=f"D-{i}") for i in range(4)]
    thin, bound = Reading(1.0, 0.01, 0.01, "thin"), Reading(1.0, None, 0.01, "thin", "clearer", 0.03)
    found = [
        learn(season_of(*(replace(s, readings=(*s.readings, one)) for s in sheets)))
        .exposure_index[0]
        .indicated
        for one in (thin, bound)
    ]
    assert found[0] == pytest.approx(found[1], rel=1e-3)


def test_a_reading_given_more_than_nine_tells_nothing():
    sheets = [one_sheet(f"S-{i}", batch=f"D-{i}") for i in range(4)]
    beyond = [replace(s, readings=(*s.readings, Reading(9.5, 1.0, 0.01, "glare"))) for s in sheets]
    assert learn(season_of(*beyond)).exposure_index == learn(season_of(*sheets)).exposure_index


# The record as it was ----------------------------------------------------------------------------------------


def test_sheets_reckoned_with_another_index_say_the_same():
    same = learn(season_of(*(one_sheet(f"S-{i}", batch=f"D-{i}") for i in range(6))))
    # The same film believed to be at 200: its readings' zones are a stop higher, its densities unmoved.
    mixed = [one_sheet(f"S-{i}", batch=f"D-{i}") for i in range(6)]
    for i in (1, 3, 5):
        readings = tuple(replace(r, zone=r.zone + 1.0) for r in mixed[i].readings)
        mixed[i] = replace(mixed[i], exposure_index=200.0, readings=readings)
    again = learn(season_of(*mixed))
    assert again.exposure_index[0].indicated == pytest.approx(same.exposure_index[0].indicated, rel=1e-6)


# Film tests --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tested():
    season, truth = made(Kind(curves=("hardly any toe",), tested="absolute", sheets=(40, 40)), 2)
    return season, truth


def test_a_film_test_says_what_the_curve_is(tested):
    season, truth = tested
    with_test, without = learn(season), learn(replace(season, tests=()))
    for one, other in zip(with_test.exposure_index, without.exposure_index, strict=True):
        assert one.sd_stops < other.sd_stops
        assert np.log2(one.indicated / one.used) == pytest.approx(truth.film[one.film], abs=0.3)
    assert [curve.tests for curve in with_test.curves] == [("T-M",), ("T-S",)]


def test_relative_exposures_have_no_zero_of_their_own(tested):
    season, _ = tested

    def relative(shift):
        tests = [
            replace(t, absolute=False, log_exposure=tuple(x + shift for x in t.log_exposure))
            for t in season.tests
        ]
        return learn(replace(season, tests=tests)).exposure_index

    for one, other in zip(relative(0.0), relative(-3.7), strict=True):
        assert other.indicated == pytest.approx(one.indicated, rel=1e-3)
        assert other.sd_stops == pytest.approx(one.sd_stops, rel=1e-2)


# Development -------------------------------------------------------------------------------------------------


def developed(times, *, reach=lambda t, c: t, degrees=20.0, planned=0.0):
    """Two sheets a time, whose contrast rises by 0.6 for each unit of ln time, 1 at 600 s."""
    sheets = []
    for i, seconds in enumerate(times):
        contrast = 1.0 + 0.6 * np.log(reach(seconds, degrees) / 600.0)
        for j in range(2):
            sheets.append(
                one_sheet(
                    f"S-{i}{j}", zone=(3.0, 5.0, 7.5), n=7 - 7 / contrast, batch=f"D-{i}{j}", development_s=seconds,
                    temperature_c=degrees, planned_n=planned,
                )
            )  # fmt: skip
    return sheets


def test_the_time_for_a_contrast_is_read_off_backwards():
    sheets = developed((500.0, 600.0, 720.0))
    sheets += [replace(s, sheet=f"P-{i}", planned_n=1.0) for i, s in enumerate(developed((660.0,)))]
    learned = learn(season_of(*sheets))
    plus = next(tag for tag in learned.development if tag.tag == "N+1")
    true = 600.0 * np.exp((7 / 6 - 1) / 0.6)
    assert plus.advised_time_s == pytest.approx(true, rel=0.03)
    assert plus.advised_low_s < true < plus.advised_high_s
    assert plus.found_n == pytest.approx(7 - 7 / (1 + 0.6 * np.log(1.1)), abs=0.1)
    assert plus.outside_tried
    assert plus.advised
    normal = next(tag for tag in learned.development if tag.tag == "N")
    assert not normal.advised
    assert not normal.outside_tried
    curve = learned.contrast[0]
    assert (curve.times_s[0], curve.times_s[-1]) == pytest.approx((500.0, 720.0))
    assert list(curve.found_n) == sorted(curve.found_n)


def test_a_warmer_bath_is_a_longer_time():
    sheets = developed((500.0, 600.0, 720.0))
    warm = developed(
        (400.0, 480.0), degrees=24.0, reach=lambda t, c: t * 2.0 ** ((c - 20.0) / 10.0), planned=1.0
    )
    sheets += [replace(sheet, sheet=f"W-{i}", batch=f"W-{i}") for i, sheet in enumerate(warm)]
    learned = learn(season_of(*sheets))
    plus = next(tag for tag in learned.development if tag.tag == "N+1")
    assert plus.temperature_c == 24.0
    assert plus.advised_time_s == pytest.approx(600.0 * np.exp((7 / 6 - 1) / 0.6) * 2**-0.4, rel=0.06)


def test_without_a_time_there_is_a_contrast_and_the_reason():
    sheets = [
        one_sheet(f"S-{i}", n=0.8, batch=f"D-{i}", development_s=None, zone=(3.0, 5.0, 7.5)) for i in range(6)
    ]
    tag = learn(season_of(*sheets)).development[0]
    assert tag.found_n == pytest.approx(0.8, abs=0.2)
    assert (tag.time_s, tag.advised_time_s, tag.advised) == (None, None, False)
    assert tag.reason == "the developing time is not recorded"


# Reciprocity -------------------------------------------------------------------------------------------------


def test_without_long_times_nothing_is_said_of_reciprocity():
    assert learn(season_of(one_sheet())).reciprocity == ()


def test_a_table_is_told_as_the_exponent_it_amounts_to():
    film = (Film("Kiln 100", 100.0, "table", from_s=1.0),)
    long = {"by_hand": True}
    sheets = [one_sheet(f"S-{i}", batch=f"D-{i}") for i in range(5)]
    for i, seconds in enumerate((4.0, 8.0, 16.0, 30.0)):
        believed, true = seconds ** (1 / 1.4), seconds ** (1 / 1.2)
        sheets.append(
            one_sheet(
                f"L-{i}", stops=float(np.log2(true / believed)), marked_time=f"{seconds:g} s", time_s=seconds,
                effective_s=believed, batch=f"D-{i}", **long,
            )
        )  # fmt: skip
    law = learn(season_of(*sheets, films=film)).reciprocity[0]
    assert law.exponent_used is None
    assert law.exponent_indicated == pytest.approx(1.2, abs=0.05)
    assert law.advised
    assert law.sheets == ("L-0", "L-1", "L-2", "L-3")


# What to expose next -----------------------------------------------------------------------------------------


def test_what_is_open_is_settled_by_the_thing_itself():
    lenses = (Lens("Haldane 240", ("whole", "rear"), "whole"),)
    sheets = [one_sheet(f"S-{i}", cell="whole", batch=f"D-{i}") for i in range(6)]
    sheets += [one_sheet("R-0", cell="rear", batch="D-0", stops=0.1)]
    learned = learn(season_of(*sheets, lenses=lenses))
    assert not factor(learned, "cell", "Haldane 240", "rear").advised
    settling = next(one for one in learned.settling if one.settles == "cell: Haldane 240 / rear")
    assert (settling.cell, settling.film, settling.tag) == ("rear", "Kiln 100", "N")
    assert settling.sd_after < 0.9 * settling.sd_before
    assert settling.sd_before == pytest.approx(factor(learned, "cell", "Haldane 240", "rear").sd, rel=1e-6)
    # And it does settle as much as was said, give or take what else the sheet teaches.
    again = learn(
        season_of(*sheets, one_sheet("R-1", cell="rear", batch="D-9", zone=(3.0, 5.0, 7.0)), lenses=lenses)
    )
    assert factor(again, "cell", "Haldane 240", "rear").sd == pytest.approx(settling.sd_after, rel=0.15)


# Much and nothing --------------------------------------------------------------------------------------------


def test_one_sheet_is_enough_to_begin_with():
    learned = learn(season_of(one_sheet()))
    assert learned.exposure_index[0].sd_stops > 0.05
    assert not any(one.advised for one in learned.factors)


def test_nothing_to_learn_from():
    assert learn(season_of()).why == ("There are no sheets yet.",)
    unmeasured = learn(season_of(one_sheet(zone=())))
    assert (unmeasured.sheets, unmeasured.measured, unmeasured.factors) == (("S-1",), (), ())
    assert "nothing to learn from" in unmeasured.why[0]
    some = learn(season_of(one_sheet(), one_sheet("S-2", zone=())))
    assert some.measured == ("S-1",)
    assert some.why == ("1 of 2 sheets have no density yet and teach nothing.",)


def test_a_large_archive_is_learnt_from_whole():
    season, truth = made(Kind(sheets=(1500, 1500), batches=(20, 20)), 5)
    learned = learn(season)
    for index in learned.exposure_index:
        assert np.log2(index.indicated / index.used) == pytest.approx(truth.film[index.film], abs=0.08)
        assert index.sd_stops < 0.05
    assert len(learned.effects) == 1500


@pytest.mark.parametrize(
    ("sheets", "words"),
    [
        ([one_sheet(film="Nowhere 50")], "film that isn't known"),
        ([one_sheet(cell="rear")], "lens or cell that isn't known"),
        ([one_sheet(), one_sheet()], "comes twice"),
        ([one_sheet(time_s=0.0)], "isn't more than 0"),
        ([one_sheet(development_s=-1.0)], "isn't more than 0"),
        ([replace(one_sheet(), readings=(Reading(float("nan"), 0.5, 0.01),))], "no finite number"),
    ],
)
def test_what_cannot_be_computed_with_is_named(sheets, words):
    with pytest.raises(QuantityError, match=words):
        learn(season_of(*sheets))
