"""How many vines: against published sample-size figures and the laws of the formula."""

import numpy as np
import pytest
from scipy.stats import t

from geoprune.sampling import half_width, vines_for_error

# n = (q CV / E)^2 with the normal and Student's quantile, computed from the formula of Cochran 1977 (Sampling Techniques)
# and Wolpert & Vilas 1992 (Am. J. Enol. Vitic. 43:384-388): confidence, CV, E, n by z, n by t
TABLE = [
    (0.90, 0.30, 0.10, 25, 27),
    (0.90, 0.40, 0.10, 44, 46),
    (0.90, 0.434, 0.10, 51, 53),
    (0.90, 0.434, 0.20, 13, 15),
    (0.95, 0.30, 0.10, 35, 38),
    (0.95, 0.40, 0.10, 62, 64),
    (0.95, 0.40, 0.20, 16, 18),
    (0.95, 0.50, 0.10, 97, 99),
]


@pytest.mark.parametrize(("confidence", "cv", "error", "by_z", "by_t"), TABLE)
def test_the_table_of_sample_sizes(confidence, cv, error, by_z, by_t):
    assert vines_for_error(cv, error, confidence=confidence, law="z") == by_z
    assert vines_for_error(cv, error, confidence=confidence) == by_t
    assert half_width(by_t, cv, confidence=confidence) <= error < half_width(by_t - 1, cv, confidence=confidence)


def test_finite_blocks():
    # the same source: n = 62 of 500 vines -> 56
    assert vines_for_error(0.40, 0.10, confidence=0.95, law="z", vines=500) == 56
    # n = 43 of 250 vines -> 37
    cv = 0.10 * np.sqrt(42.9) / 1.6448536
    assert vines_for_error(cv, 0.10, law="z", vines=250) == 37
    assert vines_for_error(0.40, 0.001, vines=80) == 80


def test_the_published_three_vine_sample():
    # Taylor & Bates 2012, Am. J. Enol. Vitic. 63:559-563: 23 three-vine samples hold a Concord block to +- 0.046 kg/m at
    # 90 %; that they do so is their finding, the standard deviation of about 0.13 kg/m it implies is worked out here
    assert 0.046 / (t.ppf(0.95, 22) / np.sqrt(23)) == pytest.approx(0.13, abs=0.005)
    assert vines_for_error(0.128, 0.046) == 23


def test_impossible_questions_are_refused():
    with pytest.raises(ValueError, match="law 'q'"):
        vines_for_error(0.4, 0.1, law="q")
    with pytest.raises(ValueError, match="above 0"):
        vines_for_error(0.4, 0.0)
