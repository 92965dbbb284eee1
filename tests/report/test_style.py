"""The look: told apart in grey, readable on paper, printed with true minus signs."""

from __future__ import annotations

import itertools

import pytest
from matplotlib.colors import to_rgb

from runstrue.report.style import INK, LIMIT, PENS, SOFT, Caption, plain_number


def _luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (IEC 61966-2-1; WCAG 2.1 prints the same)."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _lightness(colour: str) -> float:
    """CIE 1976 lightness L*, 0 to 100 (CIE 15, from memory, sure)."""
    y = _luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > (6 / 29) ** 3 else 903.3 * y


def test_the_reckoning_of_lightness_knows_middle_grey() -> None:
    # 18 % grey is L* 49.5, the well-known grey card.
    assert _lightness("#777777") == pytest.approx(50, abs=1)
    assert _luminance("white") == pytest.approx(1.0)


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(PENS, 2)))
def test_stages_differ_in_grey_by_lightness_and_by_line_style(one: str, other: str) -> None:
    first, second = PENS[one], PENS[other]  # type: ignore[index]
    # Two greys side by side are told apart from about 2 L*; thin separate lines need several
    # times that: 10 (own choice).
    assert abs(_lightness(first.line) - _lightness(second.line)) >= 10
    assert first.dash != second.dash
    assert (first.marker, first.filled) != (second.marker, second.filled)


@pytest.mark.parametrize("colour", [INK, SOFT, LIMIT])
def test_text_stands_out_from_paper(colour: str) -> None:
    # WCAG 2.1, 1.4.3: a contrast of at least 4.5 to 1 for small text.
    assert 1.05 / (_luminance(colour) + 0.05) >= 4.5


@pytest.mark.parametrize("pen", list(PENS.values()))
def test_lines_stand_out_from_their_own_fill(pen: object) -> None:
    # WCAG 2.1, 1.4.11: 3 to 1 for graphics beside each other.
    line, fill = _luminance(pen.line), _luminance(pen.fill)  # type: ignore[attr-defined]
    assert (fill + 0.05) / (line + 0.05) >= 3


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.1, "0.1"), (-0.25, "−0.25"), (0.0, "0"), (-0.0, "0"), (200.0, "200"), (0.0001, "0.0001"),
     (1234567.0, "1230000"), (-1.5, "−1.5"), (2e-5, "0.00002")],
)  # fmt: skip
def test_axis_numbers_have_no_exponent_and_a_true_minus(value: float, text: str) -> None:
    assert plain_number(value) == text


def test_a_caption_has_at_most_two_lines_however_long_the_name() -> None:
    text = Caption(deck="word " * 200, stage="as found").text(60)
    assert len(text.splitlines()) == 2
    assert text.endswith("…")
