"""P02: identities between published hatching efficiency, percentage, output and dry weight.

KKT1 strain: 2005, J. Biol. Res. (abstract). Batches: Vanhaecke and Sorgeloos 1983, Aquaculture 30:43-52 (from memory;
the product agrees with the printed digit except in the last row, whose efficiency is rounded).
"""

import pytest

from qckit.hatch import full_cysts_per_g, hatching_output


@pytest.mark.parametrize(
    "efficiency, dry_weight_ug, output, tolerance",
    [
        (259_200, 1.68, 435.46, 0.006),
        (217_600, 2.47, 537.47, 0.006),
        (193_600, 1.72, 332.99, 0.006),
        (106_000, 2.42, 256.52, 0.006),  # exact products; below as printed
        (259_200, 1.68, 435.5, 0.06),
        (217_600, 2.47, 537.5, 0.06),
        (193_600, 1.72, 333.0, 0.06),
        (106_000, 2.42, 256.7, 0.3),
    ],
)
def test_output_is_efficiency_times_dry_weight(efficiency, dry_weight_ug, output, tolerance):
    assert hatching_output(efficiency, dry_weight_ug) == pytest.approx(output, abs=tolerance)


def test_kkt1_strain():
    assert full_cysts_per_g(230_600, 69.2) == pytest.approx(333_237, abs=1)
    assert pytest.approx(2.8664, abs=1e-4) == 1000 * 661 / 230_600  # implied dry weight [ug]
    assert hatching_output(230_600, 2.8664) == pytest.approx(661, abs=0.06)
