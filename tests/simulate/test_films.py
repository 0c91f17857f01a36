"""Simulated films."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from counterproof.signals.video import open_video
from counterproof.simulate.video import Filming, Panel, Shown, film


def test_a_seed_gives_one_film_whatever_was_filmed_before(tmp_path: Path) -> None:
    shown = Shown(np.array([0.0]), ("0.12",))
    filming = Filming(width=96, height=64, scale=0.3, noise=0.05)
    stills = []
    for name, each in (
        ("first", filming),
        ("larger", replace(filming, width=320)),
        ("again", filming),
    ):
        made = film(tmp_path / f"{name}.mp4", shown, 0.5, Panel(), each, 7)
        stills.append(open_video(made.path).still()[1])
    np.testing.assert_array_equal(stills[0], stills[2])
    assert stills[1].shape == (64, 320)
