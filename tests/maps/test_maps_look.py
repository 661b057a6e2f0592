"""Colours: contrast after WCAG 2.1, order in grey, apart for colour-blind readers."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
import pytest

from geoprune import look
from geoprune.deliver.maps.shell import asset

# Deuteranopia and protanopia in linear RGB after Vienot, Brettel & Mollon 1999, Color Research & Application 24(4);
# the two matrices are from memory.
BLIND = {
    "deuteranopia": [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]],
    "protanopia": [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]],
}


def linear(color: str) -> np.ndarray:
    """sRGB to linear light, IEC 61966-2-1 as WCAG 2.1 quotes it."""
    values = np.array([int(color[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def luminance(color: str) -> float:
    """Relative luminance, WCAG 2.1."""
    return float(linear(color) @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.1 success criterion 1.4.3."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """Linear sRGB to CIE 1976 L*a*b*, D65 (CIE 15)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = (to_xyz @ np.clip(rgb, 0, 1)) / np.array([0.9505, 1.0, 1.089])
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_text_has_the_contrast_of_wcag_aa() -> None:
    # WCAG 2.1, 1.4.3: at least 4.5 : 1 for text.
    for background in (look.PAPER, look.PAPER_DEEP, "#ffffff"):
        for text in (look.INK, look.INK_SOFT, look.ALARM):
            assert contrast(text, background) >= 4.5


@pytest.mark.parametrize("ramp", [look.SIZE_RAMP, look.ERROR_RAMP, look.BULL_RAMP, look.INJURY_RAMP])
def test_ramps_keep_their_order_in_grey(ramp: tuple[str, ...]) -> None:
    lightness = [lab(linear(color))[0] for color in ramp]
    assert all(a - b > 8 for a, b in pairwise(lightness))


@pytest.mark.parametrize("sight", ["normal", *BLIND])
def test_neighbouring_colours_stay_apart(sight: str) -> None:
    # A difference of 10 in CIE 1976 is far above the just noticeable 2.3 (Mahy et al. 1994).
    turn = np.eye(3) if sight == "normal" else np.array(BLIND[sight])
    zones = [look.ZONE_FILLS[zone] for zone in (1, 2, 3, 4)]
    for colors in (look.SIZE_RAMP, zones):
        seen = [lab(turn @ linear(color)) for color in colors]
        assert all(np.linalg.norm(a - b) > 10 for a, b in pairwise(seen))


def test_zone_styles() -> None:
    assert look.zone_style(1, zones=1) == 0
    assert [look.zone_style(k, zones=3) for k in (1, 2, 3)] == [1, 2, 3]
    assert len(set(look.ZONE_PATTERNS.values())) == len(look.ZONE_PATTERNS)
    with pytest.raises(ValueError, match="at most four"):
        look.zone_style(5, zones=5)


def test_ramp_color_meets_its_stops_and_is_clipped() -> None:
    assert look.ramp_color(0.0) == look.SIZE_RAMP[0]
    assert look.ramp_color(0.5) == look.SIZE_RAMP[2]
    assert look.ramp_color(9.0) == look.SIZE_RAMP[-1]


def test_the_style_sheet_uses_shared_colours_only() -> None:
    assert set(re.findall(r"#[0-9a-f]{3,6}\b", asset("page.css"))) <= {"#fff"}
