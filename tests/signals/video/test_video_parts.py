"""The parts of the video reader, each against a known answer."""

import numpy as np
import pytest
from scipy.ndimage import affine_transform, gaussian_filter

from counterproof.signals.video import Format
from counterproof.signals.video.cut import Cut, cut_line
from counterproof.signals.video.follow import Follower
from counterproof.signals.video.glyphs import teach
from counterproof.signals.video.ink import DIGIT_ROWS, MARGIN_ROWS, difference, ink_of
from counterproof.signals.video.lamp import find_flashes
from counterproof.signals.video.refresh import clock_offset, find_refresh
from counterproof.signals.video.warp import projection, shift_of, shrunk, warp
from counterproof.simulate.typefaces import Face


def line_of(text: str, face: Face | None = None) -> np.ndarray:  # type: ignore[type-arg]
    glyphs = (face or Face()).draw(text, DIGIT_ROWS)
    return np.pad(glyphs, ((MARGIN_ROWS, MARGIN_ROWS), (8, 8)))


def test_a_projection_sends_corners_to_corners() -> None:
    here = np.array([[0, 0], [10, 0], [10, 5], [0, 5]], dtype=float)
    there = np.array([[1, 2], [12, 1], [11, 8], [0, 7]], dtype=float)
    m = projection(here, there)
    for (x, y), (u, v) in zip(here, there, strict=True):
        p = m @ [x, y, 1]
        assert p[:2] / p[2] == pytest.approx([u, v])


def test_warping_is_linear_interpolation() -> None:
    # scipy's affine_transform of order 1 is the reference
    rng = np.random.default_rng(1)
    picture = rng.random((20, 30)).astype(np.float32)
    m = np.array([[0.9, 0.1, 2.2], [-0.05, 0.8, 1.7], [0, 0, 1]])
    flipped = [[m[1, 1], m[1, 0]], [m[0, 1], m[0, 0]]]
    expected = affine_transform(picture, flipped, [m[1, 2], m[0, 2]], (15, 20), order=1)
    assert warp(picture, m, (15, 20)) == pytest.approx(expected, abs=1e-5)
    assert shrunk(picture, 5) == pytest.approx(picture.reshape(4, 5, 6, 5).mean(axis=(1, 3)))


def test_a_known_motion_is_followed() -> None:
    rng = np.random.default_rng(2)
    scene = 128 + 60 * gaussian_filter(rng.standard_normal((120, 200)), 3) * 6
    first = np.clip(scene, 0, 255).astype(np.uint8)
    follower = Follower(first)
    turn = np.radians(1.5)
    m = shift_of(3.4, -2.3) @ np.array(
        [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]]
    )
    # the still shows at m·p what the reference shows at p; brighter, too
    moved = warp(first, np.linalg.inv(m), first.shape, 128) * 0.8 + 20
    held = follower.follow(moved.astype(np.uint8))
    assert not held.lost
    for corner in ([40, 40, 1], [160, 40, 1], [160, 80, 1]):
        assert (held.matrix @ corner)[:2] == pytest.approx((m @ corner)[:2], abs=0.3)
    assert follower.follow(np.full_like(first, 90)).lost


def test_ink_leaves_shading_behind() -> None:
    y, x = np.mgrid[0:48, 0:120]
    paper = 150 + 0.4 * x + 10 * np.sin(y / 20)
    ink = line_of("0.8")
    wide = np.zeros((48, 120))
    wide[:, : ink.shape[1]] = ink[:, :120]
    found = ink_of((paper - 60 * wide).astype(np.float32), True, 21) / 60
    assert difference(found, gaussian_filter(wide, 0.6).astype(np.float32)) < 0.3
    assert difference(line_of("8"), line_of("0")) > 0.7  # one segment apart
    assert difference(line_of("8"), line_of("8")) == 0.0


@pytest.mark.parametrize("kind", ["segments", "strokes", "round", "square", "bold", "narrow"])
def test_lines_come_apart_into_their_figures(kind: str) -> None:
    drawn = kind in ("segments", "strokes")
    face = Face(kind, thickness=0.13, spacing=0.3) if drawn else Face(kind, 0.9, aspect=0.95)
    line = gaussian_filter(line_of("40.17", face), 0.8)
    glyphs = cut_line(line / line.max(), Cut())
    assert len(glyphs) == 5
    assert [g.is_low for g in glyphs] == [False, False, True, False, False]


def test_a_point_that_touches_is_freed() -> None:
    face = Face(thickness=0.17, spacing=0.17, point_beside=True)
    line = gaussian_filter(line_of("0.25", face), 0.7)
    assert len(cut_line(line, Cut())) < 4
    assert len(cut_line(line, Cut(free=True))) == 4
    known = teach([(gaussian_filter(line_of(t, face), 0.7), t) for t in ("0.25", "0.31", "0.27")])
    assert known.cut.free
    assert known.refused == ()
    assert known.knows_point


def test_teaching_refuses_what_does_not_fit() -> None:
    known = teach(
        [
            (line_of("0.12"), "0.12"),
            (line_of("0.3"), "0.345"),
            (line_of("7"), ""),
            (line_of("4.4"), "-"),
        ]
    )
    assert known.refused == ("0.345",)
    assert known.digits == "012"


@pytest.mark.parametrize(
    "form,yes,no",
    [
        ("0.00", ["0.12", "12.34"], ["0.1", ".12", "0.123", "12", "1.2.3", "-0.12"]),
        ("00.0", ["10.5", "123.4"], ["1.5"]),
        ("0", ["7", "1234"], ["7.0", ""]),
        ("0,00|00,0", ["1.23", "12.3"], ["1.2"]),
    ],
)
def test_formats(form: str, yes: list[str], no: list[str]) -> None:
    parsed = Format.parse(form)
    assert all(parsed.fits(t) for t in yes)
    assert not any(parsed.fits(t) for t in no)


@pytest.mark.parametrize("period", [0.5, 1.0, 2.47])
def test_the_refresh_is_found_from_changes(period: float) -> None:
    rng = np.random.default_rng(3)
    k = np.flatnonzero(rng.random(400) < 0.6)
    times = 0.3 + period * k + rng.uniform(0, 1 / 30, k.size)
    found = find_refresh(times, 1 / 30)
    assert found is not None
    assert found.period.value == pytest.approx(period, rel=1e-4)
    at = found.times(100.0, 100.0 + 10 * period)
    assert at.size in (10, 11)
    assert find_refresh(np.sort(rng.uniform(0, 400, 300)), 1 / 30) is None
    assert find_refresh(times[:5], 1 / 30) is None


def test_clocks_are_compared_by_pairs() -> None:
    rng = np.random.default_rng(5)
    clicks = np.sort(rng.uniform(0, 300, 300))
    seen = clicks[rng.random(300) < 0.7] + 0.043
    flashes = np.sort(seen + rng.normal(0, 0.008, seen.size))
    found = clock_offset(clicks, flashes)
    assert found is not None
    assert found.value == pytest.approx(0.043, abs=0.003)
    assert clock_offset(clicks, np.sort(rng.uniform(0, 300, 200))) is None
    assert clock_offset(clicks, np.empty(0)) is None


def test_a_lamp_that_stays_dark_says_so() -> None:
    rng = np.random.default_rng(6)
    t = np.arange(600) / 30
    train = find_flashes(t, rng.normal(20, 1, 600), 20.0)
    assert train.count == 0
    assert "No flashes" in train.warnings[0]
