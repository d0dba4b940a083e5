"""The alternatives' look: contrast, colour-blind distance, and a second channel."""

from itertools import combinations

import numpy as np
import pytest

from capex.views.palette import (
    DARK_SURFACE,
    LIGHT_SURFACE,
    STYLES,
    Style,
    alternative_styles,
    key_svg,
)

# Machado, Oliveira and Fernandes 2009, "A physiologically-based model for simulation of color
# vision deficiency", severity 1.0; figures from memory, confirmed against the table shipped by
# the reference library colorspacious 1.1.2. They act on linear RGB.
VISION = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
# IEC 61966-2-1 (sRGB), D65.
RGB_TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
# Distance at which two CIELAB colours are read as different hues at a glance: common practice,
# no source; 1 is just noticeable side by side.
APART = 15


def linear_rgb(color: str) -> np.ndarray:
    coded = np.array([int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2, "relative luminance" and "contrast ratio"."""
    low, high = sorted(linear_rgb(color) @ [0.2126, 0.7152, 0.0722] for color in (one, other))
    return float((high + 0.05) / (low + 0.05))


def lab(linear: np.ndarray) -> np.ndarray:
    x, y, z = np.cbrt(RGB_TO_XYZ @ np.clip(linear, 0, 1) / [0.95047, 1, 1.08883])
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_contrast_formula_spans_one_to_twenty_one() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#787878", "#787878") == 1


@pytest.mark.parametrize("surface", [LIGHT_SURFACE, DARK_SURFACE])
@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.color)
def test_colours_keep_three_to_one_on_both_pages(style: Style, surface: str) -> None:
    # WCAG 2.2, success criterion 1.4.11 (non-text contrast): at least 3:1.
    assert contrast(style.color, surface) >= 3


@pytest.mark.parametrize("vision", VISION)
def test_colours_stay_apart_for_every_eye(vision: str) -> None:
    seen = [lab(VISION[vision] @ linear_rgb(style.color)) for style in STYLES]
    assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) >= APART


def test_every_channel_alone_tells_the_first_six_apart() -> None:
    for channel in ("color", "dash", "symbol", "pattern"):
        assert len({getattr(style, channel) for style in STYLES}) == len(STYLES)


def test_law_styles_never_repeat_and_never_depend_on_later_alternatives() -> None:
    keys = [f"alternative_{number}" for number in range(36)]
    styles = alternative_styles(keys)
    assert len(set(styles.values())) == 36
    for count in (1, 4, 7):
        assert alternative_styles(keys[:count]) == {key: styles[key] for key in keys[:count]}


@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.color)
def test_key_shows_the_colour(style: Style) -> None:
    assert key_svg(style).count(style.color) == 2
