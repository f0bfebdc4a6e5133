"""The meanings stay apart for everyone, and are readable on the paper."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fathomlight.figures.theme import DARK, LIGHT, STANDING_SHAPES, STANDING_WORDS, Look, template

# Severity 1.0 matrices of Machado, Oliveira & Fernandes (2009), A physiologically-based model for simulation
# of color vision deficiency, IEEE Trans. Vis. Comput. Graph. 15:1291-1298; they act on linear RGB.
MACHADO = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def linear(colour: str) -> np.ndarray:
    """sRGB to linear light, IEC 61966-2-1."""
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(light: np.ndarray) -> np.ndarray:
    """Linear RGB to CIE L*a*b*, D65."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ light
    xyz = xyz / np.array([0.95047, 1.0, 1.08883])
    f = np.where(xyz > 0.008856, np.cbrt(np.maximum(xyz, 1e-12)), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a: str, b: str) -> float:
    """WCAG 2.2 contrast ratio."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    high, low = sorted((float(weights @ linear(a)), float(weights @ linear(b))), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_yardsticks_are_right() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert lab(linear("#FFFFFF")) == pytest.approx([100, 0, 0], abs=0.05)
    for matrix in MACHADO.values():  # grey stays grey for everyone
        assert np.array(matrix).sum(axis=1) == pytest.approx(np.ones(3), abs=1e-4)


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=lambda look: look.name)
@pytest.mark.parametrize("vision", ["usual", *MACHADO])
def test_meanings_stay_apart(look: Look, vision: str) -> None:
    matrix = np.array(MACHADO[vision]) if vision in MACHADO else np.eye(3)
    meanings = {w: look.meaning(w) for w in ("clearer", "murkier", "usual", "attention")}
    seen = {w: lab(np.clip(matrix @ linear(c), 0, 1)) for w, c in meanings.items()}
    for a, b in itertools.combinations(seen, 2):
        distance = float(np.linalg.norm(seen[a] - seen[b]))
        assert distance >= 18, f"{a} and {b} are {distance:.0f} apart under {vision}"


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=lambda look: look.name)
def test_marks_and_words_can_be_read(look: Look) -> None:
    for word in ("clearer", "murkier", "usual", "attention"):
        assert contrast(look.meaning(word), look.paper) >= 3.0  # WCAG 2.2, 1.4.11
        assert contrast(look.ink, look.pale(word)) >= 4.5  # words on a band
    for text in (look.ink, look.quiet):
        for ground in (look.paper, look.panel):
            assert contrast(text, ground) >= 4.5  # WCAG 2.2, 1.4.3


def test_every_standing_has_a_shape_of_its_own() -> None:
    assert set(STANDING_SHAPES) == set(STANDING_WORDS)
    assert len(set(STANDING_SHAPES.values())) == len(STANDING_SHAPES)


def test_unknown_is_grey() -> None:
    assert LIGHT.meaning("something new") == LIGHT.usual
    assert LIGHT.pale("something new") == LIGHT.pale_usual


def test_no_colour_elsewhere() -> None:
    import re
    from pathlib import Path

    import fathomlight.figures

    folder = Path(fathomlight.figures.__file__).parent
    for path in folder.glob("*.py"):
        if path.name != "theme.py":
            assert not re.findall(r"#[0-9A-Fa-f]{6}\b", path.read_text(encoding="utf-8")), path.name


def test_template_fetches_nothing() -> None:
    text = str(template(LIGHT).to_plotly_json())
    assert "http" not in text
