"""The verdict on a sheet and the reasons it gives."""

from dataclasses import replace

import pytest

from negcat.errors import QuantityError
from negcat.exposure import print_zone_of
from negcat.judgement import (
    DEVELOPMENT_TOLERANCE,
    EXPOSURE_TOLERANCE,
    JUDGEMENT_VERSION,
    FoundReading,
    judge,
)
from negcat.judgement.line import Point, fit_line
from negcat.sensitometry import TargetCurve, built_in_target

TARGET = built_in_target()


def found(name, zone, print_zone, *, tag=0.0, sd=0.01, placed=False, given=True, curve=TARGET, decision=0.0):
    """Make a reading planned for exposure zone `zone` that came out exactly as `print_zone`."""
    net = curve.density(float(print_zone))
    return FoundReading(
        name=name,
        placed=placed,
        given_zone=zone + decision if given else None,
        planned_print_zone=print_zone_of(zone, tag),
        density=net + 0.2,
        sd=sd,
        net_density=net,
        planned_zone=zone,
    )


def sheet(r, n, *, tag=0.0, zones=(3.0, 4.5, 6.0, 7.5), decision=0.0, **more):
    """Make a sheet without errors whose residual is `r` and whose development is `n`."""
    names = ("gate shadow", "wet clay", "brick wall", "kiln smoke", "sky")
    return [
        found(
            names[i],
            zone,
            print_zone_of(zone + decision + r, n),
            tag=tag,
            placed=i == 0,
            decision=decision,
            **more,
        )
        for i, zone in enumerate(zones)
    ]


def verdict_of(readings, tag=0.0, decision=0.0, **more):
    return judge(readings, target=TARGET, n=tag, decision_stops=decision, **more)


# Verdicts


@pytest.mark.parametrize(
    ("r", "n", "exposure", "development", "whole"),
    [
        (0.0, 0.0, "as planned", "as planned", "as planned"),
        (-0.9, 0.0, "thin", "as planned", "thin"),
        (0.9, 0.0, "dense", "as planned", "dense"),
        (0.0, -1.3, "as planned", "flat", "flat"),
        (0.0, 1.3, "as planned", "contrasty", "contrasty"),
        (-0.9, 1.3, "thin", "contrasty", "thin, contrasty"),
        (0.9, -1.3, "dense", "flat", "dense, flat"),
        (1 / 3, 0.0, "unsure", "as planned", "unsure"),
        (0.0, -0.5, "as planned", "unsure", "unsure"),
        (-0.9, 0.5, "thin", "unsure", "thin"),
    ],
)
def test_verdict_in_the_trades_words(r, n, exposure, development, whole):
    judgement = verdict_of(sheet(r, n))
    assert (judgement.exposure_verdict, judgement.development_verdict) == (exposure, development)
    assert judgement.verdict == whole


def test_tolerances_are_a_third_of_a_stop_and_half_an_n():
    assert pytest.approx(1 / 3) == EXPOSURE_TOLERANCE
    assert DEVELOPMENT_TOLERANCE == 0.5


def test_figures_of_an_exact_sheet_come_back():
    judgement = verdict_of(sheet(-0.6, 0.4, decision=0.25), decision=0.25)
    assert judgement.residual_stops == pytest.approx(-0.6, abs=0.05)
    assert judgement.exposure_error_stops == pytest.approx(-0.35, abs=0.05)
    assert judgement.exposure_error_stops == pytest.approx(0.25 + judgement.residual_stops)
    assert judgement.found_n == pytest.approx(0.4, abs=0.05)
    assert judgement.planned_n == 0.0
    assert judgement.target == "silver, diffusion"
    assert judgement.version == JUDGEMENT_VERSION
    assert judgement.response is None


def test_the_decision_counts_towards_the_exposure_error():
    # Half a stop less was set than placed; film and shutter did nothing: the negative is thin all the same.
    judgement = verdict_of(sheet(0.0, 0.0, decision=-0.8), decision=-0.8)
    assert judgement.exposure_verdict == "thin"
    assert judgement.residual_stops == pytest.approx(0.0, abs=0.05)


def test_development_is_judged_against_the_tag():
    assert verdict_of(sheet(0.0, 1.0, tag=1.0), tag=1.0).development_verdict == "as planned"
    assert verdict_of(sheet(0.0, 0.0, tag=1.0), tag=1.0).development_verdict == "flat"
    assert verdict_of(sheet(0.0, 0.0, tag=-1.0), tag=-1.0).development_verdict == "contrasty"


def test_metering_widens_the_one_deviation_and_hardly_the_other():
    strict, loose = (verdict_of(sheet(0.0, 0.0), metering_sd=sd) for sd in (0.0, 0.1))
    assert strict.exposure_error_sd == pytest.approx(strict.exposure_error_density_sd)
    assert strict.found_n_sd == pytest.approx(strict.found_n_density_sd)
    assert loose.exposure_error_sd > 1.4 * loose.exposure_error_density_sd
    assert loose.found_n_sd > 1.4 * loose.found_n_density_sd
    assert loose.exposure_error_density_sd < 1.2 * strict.exposure_error_density_sd


def test_metering_in_doubt_does_not_draw_the_development_towards_the_tag():
    # The densities tell this negative's contrast well; that the meter is less sure is no reason to doubt it.
    assert verdict_of(sheet(0.0, -0.9, sd=0.005)).found_n == pytest.approx(-0.9, abs=0.08)


# Little to go by


def test_one_reading_leaves_the_development_open():
    judgement = verdict_of(sheet(0.0, 0.0, zones=(4.0,)))
    assert judgement.development_verdict == "unsure"
    assert judgement.found_n_density_sd > 0.45
    assert any("“gate shadow” is the only reading that counts" in line for line in judgement.why)


@pytest.mark.parametrize("print_zone", [0.5, 2.0, 4.0, 8.9])
def test_one_reading_never_tells_the_development_however_far_off(print_zone):
    judgement = verdict_of([found("sky", 7.0, print_zone, placed=True, sd=0.005)])
    assert judgement.development_verdict == "unsure"


def test_two_readings_close_together_leave_the_development_open():
    judgement = verdict_of(sheet(0.0, 0.0, zones=(4.0, 5.0)))
    assert judgement.development_verdict == "unsure"
    assert any("span only 1.0 zones" in line for line in judgement.why)
    far = verdict_of(sheet(0.0, 0.0, zones=(3.0, 8.0)))
    assert far.found_n_sd < judgement.found_n_sd
    assert far.development_verdict == "as planned"


def test_poorly_known_densities_settle_nothing():
    judgement = verdict_of(sheet(-1.5, 0.0, sd=1.5))
    assert judgement.verdict == "unsure"
    assert any(line.startswith("Exposure is unsure: −0.") for line in judgement.why)


# Readings without weight


def test_lost_is_told_and_carries_no_weight():
    readings = sheet(0.0, 0.0)
    lost = FoundReading("cellar", False, 2.0, 2.0, 0.21, 0.01, 0.012, planned_zone=2.0)
    judgement = verdict_of([*readings, lost])
    one = judgement.readings[-1]
    assert one.lost
    assert not one.weight_used
    assert one.print_zone is None
    assert one.error_zones is None
    assert one.error_density == pytest.approx(0.012 - TARGET.density(2.0))
    assert any("“cellar” bears no weight: it is lost, 0.01 above base+fog" in line for line in judgement.why)
    assert judgement.found_n == verdict_of(readings).found_n


@pytest.mark.parametrize(("net", "is_lost"), [(0.0299, True), (0.0301, False)])
def test_lost_begins_under_three_hundredths(net, is_lost):
    reading = FoundReading("cellar", True, 1.0, 1.0, net + 0.2, 0.01, net, planned_zone=1.0)
    assert verdict_of([reading]).readings[0].lost is is_lost


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"net_density": 1.50, "density": 1.7}, "denser than zone IX"),
        ({"given_zone": 9.2}, "given zone 9.2, more than IX"),
        ({"given_zone": None}, "what it was given isn't known"),
        ({"sd": None}, "deviation of its density isn't known"),
        ({"net_density": None}, "base+fog isn't known"),
        (
            {"net_density": None, "density": None, "bound": "denser"},
            "denser than the scanner's profile reaches",
        ),
        (
            {"net_density": None, "density": None, "bound": "clearer"},
            "clearer than the scanner's profile reaches",
        ),
    ],
)
def test_what_bears_no_weight_says_why(change, word):
    readings = sheet(0.0, 0.0)
    odd = replace(found("sky", 8.0, 8.0), **change)
    judgement = verdict_of([*readings, odd])
    assert not judgement.readings[-1].weight_used
    assert word in judgement.readings[-1].note
    assert any("“sky”" in line and word in line for line in judgement.why)
    assert judgement.found_n == verdict_of(readings).found_n
    assert all(one.weight_used and not one.note for one in judgement.readings[:-1])


def test_a_reading_nobody_measured_is_not_told_again():
    odd = replace(found("sky", 8.0, 8.0), net_density=None, density=None)
    judgement = verdict_of([*sheet(0.0, 0.0), odd])
    assert judgement.readings[-1].note == "it has no density"
    assert not any("“sky”" in line for line in judgement.why)


def test_a_reading_given_exactly_zone_nine_still_counts():
    assert verdict_of([*sheet(0.0, 0.0), found("sky", 9.0, 8.9)]).readings[-1].weight_used


# Each reading against the target


def test_reading_is_held_against_the_target_at_its_print_zone():
    # Placed on IV, tagged N+1: planned to print at IV½.
    reading = found("gate shadow", 4.0, 5.0, tag=1.0, sd=0.012, placed=True)
    one = verdict_of([reading], tag=1.0).readings[0]
    assert one.target_density == pytest.approx(TARGET.density(4.5))
    assert one.print_zone == pytest.approx(5.0)
    assert one.print_zone_sd == pytest.approx(0.012 / TARGET.slope(5.0))
    assert one.error_zones == pytest.approx(0.5)
    assert one.error_density == pytest.approx(0.70 - TARGET.density(4.5))


def test_a_reading_without_plan_is_still_found():
    reading = replace(found("wall", 5.0, 5.0, placed=True), planned_print_zone=None)
    one = verdict_of([reading]).readings[0]
    assert one.print_zone == pytest.approx(5.0)
    assert (one.target_density, one.error_density, one.error_zones) == (None, None, None)


# What can't be had


@pytest.mark.parametrize(
    ("readings", "verdict", "word"),
    [
        ([], "not measured", "no readings"),
        (
            [FoundReading("wall", True, 5.0, 5.0, None, None, None)],
            "not measured",
            "no reading has a density",
        ),
        ([FoundReading("wall", True, 5.0, 5.0, 0.9, 0.01, None)], "not measured", "base+fog isn't known"),
        (
            [FoundReading("wall", True, 5.0, 5.0, None, None, None, "denser")],
            "not measured",
            "outside the range of the scanner's profile",
        ),
        (
            [FoundReading("wall", False, None, None, 0.9, 0.01, 0.7)],
            "not measured",
            "neither what was planned",
        ),
        ([FoundReading("cellar", True, 3.0, 3.0, 0.2, 0.01, 0.01)], "unsure", "none can bear weight"),
    ],
)
def test_without_anything_to_go_by_nothing_is_invented(readings, verdict, word):
    judgement = verdict_of(readings)
    assert judgement.verdict == judgement.exposure_verdict == judgement.development_verdict == verdict
    assert word in judgement.why[0]
    assert judgement.exposure_error_stops is None
    assert judgement.exposure_error_sd is None
    assert judgement.exposure_error_density_sd is None
    assert judgement.residual_stops is None
    assert judgement.found_n is None
    assert judgement.found_n_sd is None
    assert judgement.found_n_density_sd is None
    assert len(judgement.readings) == len(readings)


def test_without_given_zones_the_distance_from_plan_is_found_but_not_shared_out():
    judgement = verdict_of(sheet(-0.9, 0.0, given=False), decision=None)
    assert judgement.exposure_error_stops == pytest.approx(-0.9, abs=0.05)
    assert judgement.exposure_verdict == "thin"
    assert judgement.residual_stops is None
    assert any("can't be shared" in line for line in judgement.why)


def test_the_placed_reading_alone_stands_in_by_its_print_zone():
    # No meter figure and no exposure zone: placed to print at IV½ under N+1, which is exposure zone IV.
    reading = replace(
        found("gate shadow", 4.0, 4.5, tag=1.0, placed=True), given_zone=None, planned_zone=None
    )
    judgement = verdict_of([reading], tag=1.0, decision=None)
    assert judgement.exposure_error_stops == pytest.approx(0.0, abs=0.01)
    assert judgement.found_n == pytest.approx(1.0, abs=0.01)


def test_an_unknown_decision_follows_from_the_placed_reading():
    judgement = verdict_of(sheet(-0.2, 0.0, decision=-0.7), decision=None)
    assert judgement.exposure_error_stops == pytest.approx(-0.9, abs=0.05)


def test_exposure_is_not_measured_where_the_plan_is_unknown():
    readings = [replace(reading, planned_zone=None) for reading in sheet(0.0, -1.3)]
    judgement = verdict_of(readings, decision=None)
    assert judgement.exposure_error_stops is None
    assert judgement.exposure_error_sd is None
    assert judgement.residual_stops == pytest.approx(0.0, abs=0.1)
    assert judgement.exposure_verdict == "not measured"
    assert judgement.verdict == "flat"
    assert any("not measured" in line for line in judgement.why)
    on_plan = [replace(reading, planned_zone=None) for reading in sheet(0.0, 0.0)]
    assert verdict_of(on_plan, decision=None).verdict == "unsure"


# Contradictions


def test_a_positive_is_not_judged():
    readings = [
        replace(reading, net_density=net, density=net + 0.2)
        for reading, net in zip(sheet(0.0, 0.0), (1.1, 0.8, 0.5, 0.2), strict=True)
    ]
    judgement = verdict_of(readings)
    assert judgement.verdict == "unsure"
    assert any("Every density falls where the exposure rises" in line for line in judgement.why)


def test_a_positive_shows_even_where_only_one_reading_bears_weight():
    readings = [found("gate shadow", 3.0, 10.0, placed=True), found("wall", 6.0, 5.0), found("sky", 8.0, 0.0)]
    judgement = verdict_of(readings)
    assert [one.weight_used for one in judgement.readings] == [False, True, False]
    assert judgement.verdict == "unsure"
    assert any("positive" in line for line in judgement.why)


def test_spots_mixed_up_are_named():
    readings = sheet(0.0, 0.0)
    wall, smoke = readings[2], readings[3]
    readings[2] = replace(wall, net_density=smoke.net_density, density=smoke.density)
    readings[3] = replace(smoke, net_density=wall.net_density, density=wall.density)
    judgement = verdict_of(readings)
    assert judgement.verdict == "unsure"
    assert any("“kiln smoke” was given 1.5 zones more than “brick wall”" in line for line in judgement.why)


def test_noise_is_no_contradiction():
    near = [found("a", 5.0, 5.1, placed=True, sd=0.02), found("b", 5.6, 5.05, sd=0.02), found("c", 7.5, 7.5)]
    assert not any("positive" in line for line in verdict_of(near).why)


def test_a_reading_off_the_line_is_named():
    readings = sheet(0.0, 0.0)
    readings[2] = found("brick wall", 6.0, 7.1)
    judgement = verdict_of(readings)
    assert any(line.startswith("“brick wall” came out") and "denser" in line for line in judgement.why)
    assert not any("came out" in line and line.startswith("“") for line in verdict_of(sheet(0.0, 0.0)).why)


# The film's own curve


LONG_TOE = TargetCurve(
    "creek pan", tuple(range(11)), (0.01, 0.05, 0.12, 0.23, 0.38, 0.57, 0.79, 1.04, 1.31, 1.58, 1.82)
)


def test_against_its_own_curve_a_long_toed_film_is_as_planned():
    readings = sheet(0.0, 0.0, curve=LONG_TOE)
    against_target = verdict_of(readings)
    assert against_target.exposure_error_stops < -0.5
    assert any("no curve of this film is known" in line for line in against_target.why)
    own = verdict_of(readings, response=LONG_TOE)
    assert own.verdict == "as planned"
    assert own.residual_stops == pytest.approx(0.0, abs=0.01)
    assert own.response == "creek pan"
    assert not any("no curve" in line for line in own.why)
    # What will print is the print target's business all the same.
    assert own.readings == against_target.readings
    assert own.target == "silver, diffusion"


# The words


@pytest.mark.parametrize(
    ("r", "n", "start"),
    [
        (0.0, 0.0, "Exposure is as planned: the negative got 0.00 ± "),
        (-0.9, 0.0, "The negative is thin: it got 0."),
        (0.9, 0.0, "The negative is dense: it got 0."),
        (1 / 3, 0.0, "Exposure is unsure: +0.3"),
        (0.0, -1.3, "The negative is flat: development came out at N−1."),
        (0.0, 1.3, "The negative is contrasty: development came out at N+1."),
        (0.0, 0.5, "Development is unsure: it came out at N+0."),
        (0.0, 0.0, "Development is as planned: it came out at N (± "),
    ],
)
def test_every_verdict_has_its_sentence(r, n, start):
    assert any(line.startswith(start) for line in verdict_of(sheet(r, n)).why)


def test_every_reason_is_one_sentence():
    lost = FoundReading("cellar", False, 2.0, 2.0, 0.21, 0.01, 0.012, planned_zone=2.0)
    for r in (-0.9, 0.0, 0.33):
        for line in verdict_of([*sheet(r, 0.4), lost]).why:
            assert line.endswith(".")
            assert line[0].isupper() or line[0] == "“"
            assert "\n" not in line
            assert "-" not in line.replace("long-scale", "")  # a proper minus, no hyphen, before a figure


def test_sentences_known_already_are_kept():
    given = ("The cell has no scale of its own.", "The filter's factor isn't known.")
    judgement = verdict_of(sheet(0.0, 0.0), why=given)
    assert [line for line in judgement.why if line in given] == list(given)
    assert judgement.why[0] not in given
    assert set(given) <= set(judge([], target=TARGET, n=0.0, decision_stops=None, why=given).why)


# Paper


def test_paper_for_a_negative_on_target_and_for_a_flat_one():
    paper = verdict_of(sheet(0.0, 0.0)).paper
    assert (paper.shadow, paper.highlight) == ("gate shadow", "kiln smoke")
    assert paper.density_range == pytest.approx(TARGET.density(7.5) - TARGET.density(3.0))
    assert paper.grade == 2
    flat = verdict_of(sheet(0.0, -1.5)).paper
    assert flat.iso_r < paper.iso_r
    assert flat.grade > paper.grade


@pytest.mark.parametrize("zones", [(4.0,), (5.0, 7.0), (3.0, 5.0), (1.0, 8.8)])
def test_no_paper_without_textured_shadow_and_highlight(zones):
    assert verdict_of(sheet(0.0, 0.0, zones=zones)).paper is None


# Limits


def test_nonsense_is_refused():
    with pytest.raises(QuantityError):
        verdict_of([], tag=7.0)
    with pytest.raises(QuantityError, match="negative"):
        verdict_of(sheet(0.0, 0.0), metering_sd=-0.1)


def test_the_line_stays_within_what_can_be():
    wild = [Point("a", 2.0, 9.5, 0.001), Point("b", 3.0, 40.0, 0.001), Point("c", 4.0, 90.0, 0.001)]
    line = fit_line(wild, 0.0, 0.1)
    assert -7.0 <= line.n <= 5.5
    assert -8.0 <= line.r <= 8.0
    falling = [Point("a", 2.0, 9.0, 0.001), Point("b", 8.0, 1.0, 0.001)]
    assert -7.0 <= fit_line(falling, 0.0, 0.1).n < 0.0
