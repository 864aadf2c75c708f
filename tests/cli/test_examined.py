"""What an examiner from outside found wrong once."""

import json

import numpy as np

from tests.cli.conftest import DENSITIES, PX_PER_MM, Bench
from tests.simulation.scanbench import Bed, Tablet


def test_a_step_lost_in_8_bits_has_no_code(archive: Bench) -> None:
    rng = np.random.default_rng(5)
    density = Tablet(DENSITIES).draw(PX_PER_MM, rng)
    codes = Bed(bits=8).codes(10.0**-density, rng, PX_PER_MM)
    scan = archive.write("eight.tif", (codes // 257).astype(np.uint8))
    args = ("calibrate", scan, "--scanner", "bench scanner", "--tablet", "tablet 21")
    given = archive.json(*args)
    assert given["missing_steps"]
    for number in given["missing_steps"]:
        assert given["steps"][number - 1]["code"] is None
    assert "nan" not in archive.run(*args).output
    assert json.dumps(given, allow_nan=False)
