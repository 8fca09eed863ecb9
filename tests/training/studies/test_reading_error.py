"""What one reading is off by: as assumed without a study, as measured with a long one."""

import numpy as np
import pytest

from training.studies.gauge_study import pooled
from training.studies.reading_error import ReadingError, reading_error
from training.studies.weighed_again import Appraiser, Occasion


def _occasions(sd_lbf: float, hands_lbf: float, bows: int) -> list[Occasion]:
    """Return bows that two hands, apart by so much on average, weighed twice each on one scale."""
    rng = np.random.default_rng(17)
    hands = [Appraiser(name, "hook") for name in ("Ann", "Ben")]
    return [
        Occasion(
            f"K-{bow:03d}",
            28.0,
            {
                hand: tuple(50 + hands_lbf * place + sd_lbf * rng.standard_normal(2))
                for place, hand in enumerate(hands)
            },
        )
        for bow in range(bows)
    ]


def test_without_a_study_it_is_scale_and_draw() -> None:
    """With nothing weighed twice 0.15 lb of scale and 0.06 in of draw at 2.75 lb an inch make 0.2230 lb."""
    assert reading_error([]).sd_lbf(50.0, 2.75) == pytest.approx(0.2230, abs=5e-5)
    assert reading_error([]).sd_lbf(50.0) == pytest.approx(0.2230, abs=5e-5)


@pytest.mark.parametrize(("sd", "hands"), [(0.8, 0.0), (0.1, 0.0), (0.3, 1.0)])
def test_a_long_study_is_believed(sd: float, hands: float) -> None:
    """After 400 bows the error is the study's within 3 %: of one hand, and of two that pull differently."""
    true = np.hypot(sd, hands / 2 * np.sqrt(4 / 3))

    assert reading_error(_occasions(sd, hands, 400)).sd_lbf(50.0) == pytest.approx(true, rel=0.03)


def test_a_short_study_moves_it_part_of_the_way() -> None:
    """Five or six degrees of freedom count as much as what is assumed: halfway in squares, known to 30 %."""
    freedom = 6
    sets = [(50.0, 50.0 + 0.8 * np.sqrt(2))] * freedom
    moved = ReadingError(pooled(sets)).sd_lbf(50.0, 0.0)

    assert moved == pytest.approx(np.sqrt((0.15**2 + 0.8**2) / 2), rel=0.03)
