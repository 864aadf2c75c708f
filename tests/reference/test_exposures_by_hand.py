"""Three exposures worked by hand, step by step, as a photographer would on paper with a table of log2.

Every figure is typed as it stands on the paper (log2 to four places); nothing is computed with negcat's own
functions but the answer that is compared. README.md beside this file says where each number is from.
"""

import pytest

from negcat.exposure import Cell, Lens, MeteredReading, Setting, expose
from negcat.notation import parse_number, parse_stop, parse_tag, parse_time, parse_zone
from negcat.reciprocity import PowerLaw, TableLaw, effective_time, given_time

PAPER = 0.0005
"""Four-figure logs, added up a few times."""


def test_the_whole_lens_with_bellows_and_yellow_filter_developed_n_plus_1():
    # The paper ------------------------------------------------------------------------------------
    # The meter at ISO 100 says EV 10⅓ for the shadow inside the kiln, 13⅓ for the lit lintel.
    # The film is used at 200: one stop faster, so everything is one EV more.
    shadow_ev = 10.3333 + 1.0000
    lintel_ev = 13.3333 + 1.0000
    # The shadow on IV is one stop less than the meter's V: set EV 12.3333.
    asked = shadow_ev - (4 - 5)
    assert asked == pytest.approx(12.3333)
    # f/22 is 2^4.5, N² = 2^9; the mark 1/4 is 2^-2 s: EV 9 + 2 = 11.
    set_to = 9 + 2
    # So stop and time give 1.3333 more than asked: for filter and bellows, as it was meant.
    setting = asked - set_to
    assert setting == pytest.approx(1.3333)
    # Yellow filter, factor 2: log2 2 = 1.
    yellow = -1.0000
    # 300 mm lens on 360 mm of bellows: (360/300)² = 1.44; log2 1.44 = 0.5261.
    bellows = -0.5261
    decision = setting + yellow + bellows
    assert decision == pytest.approx(-0.1928)
    given_shadow = 4 - 0.1928
    given_lintel = 4 + (lintel_ev - shadow_ev) - 0.1928  # planned three stops up, on VII
    # N+1 prints zone z on 1 + 7/6·(z − 1): IV on IV½, VII on VIII.
    print_shadow, print_lintel = 4.5, 8.0

    # The archive ----------------------------------------------------------------------------------
    lens = Lens("Kiln Lane 300", {"whole": Cell(300, "whole"), "front": Cell(540, "front")})
    done = expose(
        Setting(
            (
                MeteredReading(
                    "inside the kiln", "shadow", parse_number("10⅓"), zone=parse_zone("IV").value, placed=True
                ),
                MeteredReading("lit lintel", "highlight", parse_number("13 1/3")),
            ),
            exposure_index=200,
            meter_iso=100,
            f_number=parse_stop("f/22").f_number,
            time_s=parse_time("1/4").seconds,
            lens=lens,
            cell="whole",
            filter_name="yellow",
            filter_factor=2,
            bellows_mm=360,
            n=parse_tag("N+1").n,
        )
    )
    assert done.setting_stops == pytest.approx(setting, abs=PAPER)
    assert done.filter_stops == pytest.approx(yellow, abs=PAPER)
    assert done.bellows_stops == pytest.approx(bellows, abs=PAPER)
    assert (done.cell_stops, done.shutter_stops, done.reciprocity_stops) == (0, 0, 0)
    assert done.decision_stops == pytest.approx(decision, abs=PAPER)
    shadow, lintel = done.readings
    assert (shadow.planned_zone, lintel.planned_zone) == (pytest.approx(4), pytest.approx(7))
    assert (shadow.given_zone, lintel.given_zone) == (
        pytest.approx(given_shadow, abs=PAPER),
        pytest.approx(given_lintel, abs=PAPER),
    )
    assert (shadow.planned_print_zone, lintel.planned_print_zone) == (
        pytest.approx(print_shadow, abs=PAPER),
        pytest.approx(print_lintel, abs=PAPER),
    )
    assert done.why == ()


def test_a_rear_cell_read_from_the_whole_lenss_scale_measured_shutter_and_a_power_law():
    # The paper ------------------------------------------------------------------------------------
    # A meter left at ISO 400 says EV 9.5 under the footbridge; at ISO 100 that is 9.5 − 2 = 7.5.
    # The film is used at 80: log2 0.8 = −0.3219.
    shadow_ev = 7.5 - 0.3219
    # Placed on III½, one and a half stops under V: set EV 8.6781.
    asked = shadow_ev + 1.5
    assert asked == pytest.approx(8.6781)
    # f/16 on the whole lens's scale (N² = 2^8), and 2 s by the mark: EV 8 − 1 = 7.
    set_to = 8 - 1
    setting = asked - set_to
    assert setting == pytest.approx(1.6781)
    # The rear cell of 500 mm has no scale. At the whole lens's f/16 (300 mm) the entrance pupil is
    # 300/16 = 18.75 mm; the front cell (600 mm, 30 mm before the diaphragm) shows the diaphragm 600/570 times
    # its size, so the bare diaphragm is 18.75 · 570/600 = 17.8125 mm and N is 500/17.8125 = 28.07.
    # (28.07/16)² = 3.0779; log2 3.0779 = 1.6219.
    cell = -1.6219
    # The shutter's 2 s was measured as 2.4 s: log2 1.2 = 0.2630.
    shutter = 0.2630
    # The film loses from 1 s with exponent 1.3. log2 2.4 = 1.2630; over 1.3 = 0.9716: it counts as
    # 2^0.9716 = 1.961 s, and 0.9716 − 1.2630 = −0.2915 stop.
    reciprocity = -0.2915
    decision = setting + cell + shutter + reciprocity
    assert decision == pytest.approx(0.0277)
    given_shadow = 3.5 + 0.0277
    given_mud = 3.5 + 2.5 + 0.0277  # the wet mud metered two and a half stops above it

    # The archive ----------------------------------------------------------------------------------
    lens = Lens(
        "Convertible",
        {
            "whole": Cell(300, "whole"),
            "front": Cell(600, "front", cell_to_stop_mm=30),
            "rear": Cell(500, "behind", own_scale=False),
        },
    )
    done = expose(
        Setting(
            (
                MeteredReading(
                    "under the footbridge",
                    "shadow",
                    parse_number("9.5"),
                    zone=parse_zone("III½").value,
                    placed=True,
                ),
                MeteredReading("wet mud", "middle", stops_from_placed=parse_number("+2½")),
            ),
            exposure_index=80,
            meter_iso=400,
            f_number=parse_stop("16").f_number,
            time_s=parse_time("2 s").seconds,
            lens=lens,
            cell="rear",
            shutter={parse_time("1").seconds: 1.1, parse_time("2").seconds: 2.4},
            reciprocity=PowerLaw(1.3),
        )
    )
    assert done.effective_f_number == pytest.approx(28.07, abs=0.005)
    assert done.shutter_time_s == 2.4
    assert done.effective_time_s == pytest.approx(1.961, abs=0.0005)
    assert done.setting_stops == pytest.approx(setting, abs=PAPER)
    assert done.cell_stops == pytest.approx(cell, abs=PAPER)
    assert done.shutter_stops == pytest.approx(shutter, abs=PAPER)
    assert done.reciprocity_stops == pytest.approx(reciprocity, abs=PAPER)
    assert done.decision_stops == pytest.approx(decision, abs=PAPER)
    assert [reading.given_zone for reading in done.readings] == [
        pytest.approx(given_shadow, abs=PAPER),
        pytest.approx(given_mud, abs=PAPER),
    ]
    assert done.why == ()


def test_a_front_cell_behind_the_diaphragm_by_the_meters_setting_and_a_table():
    # The paper ------------------------------------------------------------------------------------
    # The meter was set to the film's index. With the shadow of the drying shed placed on III it showed f/32
    # and 8 s: N² = 2^10, 8 s = 2^3, so EV 7 was asked for (and the shadow itself is EV 7 − 2 = 5).
    asked = 10 - 3
    # Set: f/11⅓ on the whole lens's scale, N² = 2^7.3333, and 6.861 s: log2 6.861 = 2.7784.
    set_to = 7.3333 - 2.7784
    setting = asked - set_to
    assert setting == pytest.approx(2.4451)
    # The front cell (400 mm) is screwed in behind the diaphragm of the 240 mm whole lens, 25 mm from it.
    # Entrance pupil of the whole lens at N_w: 240/N_w; bare diaphragm 375/400 of that; so
    # N/N_w = 400/240 · 400/375 = 1.7778; squared 3.1605; log2 3.1605 = 1.6601.
    cell = -1.6601
    # Bellows 480 mm: m = 480/400 − 1 = 0.2; pupil ratio 0.8: 1 + 0.2/0.8 = 1.25; squared 1.5625;
    # log2 1.5625 = 0.6439.
    bellows = -0.6439
    # The data sheet: 1 s → 2 s, 10 s → 25 s, 100 s → 400 s. In log10: (0, 0.3010), (1, 1.3979), (2, 2.6021);
    # slopes 1.0969 and 1.2041. The monotone cubic's slope at 10 s is their harmonic mean
    # 2·1.0969·1.2041/2.3010 = 1.1480, at 1 s the three-point one (3·1.0969 − 1.2041)/2 = 1.0433.
    # Halfway, at 10^0.5 = 3.162 s: (0.3010 + 1.3979)/2 + (1.0433 − 1.1480)/8 = 0.8364: give 6.861 s.
    # So 6.861 s counts as 3.162 s; log2 3.162 = 1.6610, and 1.6610 − 2.7784 = −1.1174.
    reciprocity = -1.1174
    decision = setting + cell + bellows + reciprocity
    assert decision == pytest.approx(-0.9763)
    given_shed = 3 - 0.9763
    given_sky = 3 + 4.5 - 0.9763  # the sky, four and a half stops up, planned on VII½
    # N−1 prints zone z on 1 + 7/8·(z − 1): III on II¾, VII½ on 6.6875.
    print_shed, print_sky = 2.75, 6.6875

    # The archive ----------------------------------------------------------------------------------
    law = TableLaw(((1, 2), (10, 25), (100, 400)))
    assert given_time(law, 3.1623).seconds == pytest.approx(6.861, abs=0.002)
    assert effective_time(law, 6.861).seconds == pytest.approx(3.162, abs=0.001)
    lens = Lens(
        "Sluice 240",
        {
            "whole": Cell(240, "whole"),
            "front": Cell(400, "behind", own_scale=False, cell_to_stop_mm=25, pupil_ratio=0.8),
        },
    )
    done = expose(
        Setting(
            (
                MeteredReading("drying shed", "shadow", zone=parse_zone("3").value, placed=True),
                MeteredReading("sky", "highlight", stops_from_placed=parse_number("4 1/2")),
            ),
            exposure_index=64,
            meter_iso=400,  # plays no part where the meter's setting is recorded
            indicated=(parse_stop("32").f_number, parse_time('8"').seconds),
            f_number=parse_stop("f/11+1/3").f_number,
            time_s=parse_time("6.861 s").seconds,
            lens=lens,
            cell="front",
            stop_scale="whole",
            bellows_mm=480,
            reciprocity=law,
            n=parse_tag("N−1").n,
        )
    )
    assert done.readings[0].ev == pytest.approx(5)
    assert done.setting_stops == pytest.approx(setting, abs=PAPER)
    assert done.cell_stops == pytest.approx(cell, abs=PAPER)
    assert done.bellows_stops == pytest.approx(bellows, abs=PAPER)
    assert done.reciprocity_stops == pytest.approx(reciprocity, abs=PAPER)
    assert (done.filter_stops, done.shutter_stops) == (0, 0)
    assert done.decision_stops == pytest.approx(decision, abs=2 * PAPER)
    assert [reading.given_zone for reading in done.readings] == [
        pytest.approx(given_shed, abs=2 * PAPER),
        pytest.approx(given_sky, abs=2 * PAPER),
    ]
    assert [reading.planned_print_zone for reading in done.readings] == [
        pytest.approx(print_shed, abs=PAPER),
        pytest.approx(print_sky, abs=PAPER),
    ]
    assert done.why == ()
