"""Learn the shape of the clicks from the recording itself.

1. Candidates: short, sudden rises of the whitened envelope.
2. Cluster them by the best cross-correlation of their first milliseconds.
3. For each cluster, solve for the long response (click and room) by least squares over all
   clicks found so far, find clicks with it, and repeat. A follower at one fixed distance is an
   echo, not a second click: it is dropped, and the response takes it in.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from counterproof.signals.clicks.candidates import beside_tones, candidates, cluster
from counterproof.signals.clicks.excerpt import AFTER_S, BEFORE_S, around, enough_of
from counterproof.signals.clicks.explain import Explained, Leftover, explain
from counterproof.signals.clicks.front import Band, Samples
from counterproof.signals.clicks.matched import Templates, make_templates
from counterproof.signals.clicks.pursuit import GRID, PHASES, STEPS, TILE, take_off
from counterproof.signals.clicks.response import solve_response, tapered
from counterproof.signals.clicks.shape import ClickShape, onset_and_length
from counterproof.signals.clicks.tones import without_tones
from counterproof.signals.clicks.voices import (
    another_box,
    click_like,
    echo_of,
    own_window,
    usual_loudness,
    without_echoes,
)
from counterproof.signals.clicks.whitening import (
    filtered,
    frame_powers,
    loud_spectrum,
    noise_spectrum,
    quiet_spectrum,
    whitening_taps,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PRE_S = 0.006
LONG_S = 0.060
SEGMENT_S = 4.0
THRESHOLD = 5.0
FEW = 6
STRANGE = 0.7
"""Misfit from which what is as loud as a click may be another box's."""
LEAST_TURNS = 3
MOST_TURNS = 8
LOOK_S = (0.04, 0.07)
"""What is looked at before and after a candidate."""


@dataclass(frozen=True, eq=False)
class Learned:
    """What an excerpt taught.

    Args:
        spectrum: noise spectrum to whiten against.
        usual: spectrum of the recording, clicks and all, that tones stand out of.
        shapes: voices, the most frequent first; empty when nothing clicks.
        sigma2: noise variance of the matched filter's normalised output.
        leftover: what a click leaves behind.
        misfit: misfit that nine clicks out of ten of the first voice stay below.
        noise: usual noise that a click stands out of, as the root of an energy.
        rate_per_s: clicks per second, at least; 0 where few stretches around clicks were used.
    """

    spectrum: Floats
    usual: Floats
    shapes: tuple[ClickShape, ...]
    sigma2: float
    leftover: Leftover
    misfit: float
    noise: float
    rate_per_s: float


def learn(x: Samples, band: Band, *, seeds: tuple[ClickShape, ...] = ()) -> Learned:
    """Learn noise spectrum and click shapes from an excerpt at the working rate.

    Args:
        x: excerpt from the front end, shape (n,).
        band: the working band.
        seeds: taught shapes; nothing is clustered then.
    """
    rate = band.rate_hz
    powers = frame_powers(x, rate)
    quiet = quiet_spectrum(powers)
    usual = spectrum = noise_spectrum(quiet, loud_spectrum(powers))
    length = round((PRE_S + LONG_S) * rate)
    waves = [seed.waveform for seed in seeds]
    louds = [seed.loudness for seed in seeds]
    if not seeds:
        waves, louds, x = _first_waves(x, spectrum, band, length)
    taps = whitening_taps(spectrum, band)
    x, _ = without_tones(x, usual, rate)
    loud = loud_spectrum(frame_powers(x, rate))
    y = filtered(x, taps)
    sigma2 = float(np.median(y * y)) / 0.455
    leftover = Leftover(np.full(40, 3e-3), 10)
    shapes: list[ClickShape] = []
    before = 0
    misfit = noise = 0.0
    asked = False
    alone: Learned | None = None

    def result() -> Learned:
        # every stretch that was chosen holds one to begin with
        frequent = max(0.0, before * rate / x.size - 1.0 / (BEFORE_S + AFTER_S))
        return Learned(spectrum, usual, tuple(shapes), sigma2, leftover, misfit, noise, frequent)

    for turn in range(MOST_TURNS):
        if not waves:
            break
        white = np.stack([filtered(w.astype(np.float32), taps) for w in waves])
        templates = make_templates(white)
        own = own_window(waves[0], rate)
        pieces = explain_all(y, templates, sigma2, leftover, own, rate)
        sigma2 = background(pieces)
        leftover = left_behind(pieces, louds[0], sigma2, rate)
        old = waves
        waves, shapes = _refit(x, pieces, waves, louds, rate, length, fixed=bool(seeds))
        louds = [shape.loudness for shape in shapes]
        count = sum(shape.count for shape in shapes)
        misfit, noise = usual_fit(pieces, shapes)
        settled = turn > 0 and count < 1.03 * before
        before = count
        if settled and turn >= LEAST_TURNS - 1:
            if seeds or asked or len(waves) > 1:
                break
            asked = True
            other = stranger(x, pieces, old, shapes, spectrum, band)
            if other is None:
                break
            alone = result()
            waves.append(other[0])
            louds.append(other[1])
            before = 0
            continue
        if not settled:
            rest = without_clicks(x, pieces, old, rate)
            # around the clicks there is their echo; over the whole excerpt, at high rates, clicks
            between = np.minimum(quiet, quiet_spectrum(frame_powers(rest, rate)))
            spectrum = noise_spectrum(between, loud)
            taps = whitening_taps(spectrum, band)
            y = filtered(x, taps)
            sigma2 = 1.0
    # a stranger that proved to be none has only confused the first voice
    return alone if alone is not None and len(shapes) < 2 else result()


def _first_waves(
    x: Samples, spectrum: Floats, band: Band, length: int
) -> tuple[list[Floats], list[float], Samples]:
    """Return first responses of the groups that may be clicks, how loud, and where to learn on."""
    rate = band.rate_hz
    taps = whitening_taps(spectrum, band)
    # half-whitened: at high rates the clicks themselves are most of the spectrum
    halfway = whitening_taps(np.sqrt(spectrum), band)
    places = candidates(filtered(x, halfway), rate)
    if places.size == 0:
        return [], [], x
    close, moved = around(x, places, rate, *LOOK_S)
    close, cut = without_tones(close, spectrum, rate)
    clear = beside_tones(moved, cut, rate)
    back = places[np.isin(moved, clear)]
    members: list[Ints] = []
    waves: list[Floats] = []
    louds: list[float] = []
    lead = round((PRE_S - 2e-3) * rate)
    for which, starts, amps in cluster(filtered(close, halfway), clear, rate):
        if starts.size < max(3, 0.03 * clear.size):
            continue
        wave = solve_response(close, (starts - lead) * STEPS, amps / np.median(amps), length)
        if click_like(wave, rate) and not echo_of(waves, wave, taps, rate):
            louds.append(float(np.abs(wave).max()))
            waves.append(wave / louds[-1])
            members.append(np.sort(back[which]))
    return waves, louds, enough_of(x, members, rate)


def _refit(
    x: Samples,
    pieces: tuple[Explained, ...],
    waves: list[Floats],
    louds: list[float],
    rate: float,
    length: int,
    *,
    fixed: bool,
) -> tuple[list[Floats], list[ClickShape]]:
    step = round(SEGMENT_S * rate) * STEPS
    starts = np.concatenate([p.starts + k * step for k, p in enumerate(pieces)])
    amps = np.concatenate([p.amplitudes for p in pieces])
    kinds = np.concatenate([p.voices for p in pieces])
    misfit = np.concatenate([p.misfit for p in pieces])
    scores = np.concatenate([p.scores for p in pieces])
    order = np.argsort(starts, kind="stable")
    starts, amps, kinds, misfit, scores = (v[order] for v in (starts, amps, kinds, misfit, scores))
    new: list[Floats] = []
    shapes: list[ClickShape] = []
    times: list[Floats] = []
    heard: list[float] = []
    fits: list[float] = []
    for voice in range(len(waves)):
        mine = np.flatnonzero((kinds == voice) & (misfit < 0.8))
        if mine.size < 3:
            continue
        clear = mine[scores[mine] >= THRESHOLD]
        mine = clear if clear.size >= FEW else mine
        mine = mine[usual_loudness(amps[mine], louds[voice])]
        mine = mine[without_echoes(starts[mine], amps[mine], rate)]
        wave = waves[voice]
        if not fixed:
            others = np.flatnonzero((kinds != voice) & (misfit < 0.8))
            target = x
            if others.size:
                target = x.copy()
                raw = make_templates(np.stack(waves)).fine
                take_off(target, raw, kinds[others], starts[others], amps[others], 0, others.size)
            wave = solve_response(target, starts[mine], amps[mine], length)
            noise = float(np.median(target**2)) / 0.455 / float((amps[mine] ** 2).sum())
            wave = tapered(wave, noise, rate)
        peak = float(np.abs(wave).max())
        if peak <= 0.0 or not (fixed or click_like(wave, rate)):
            continue
        wave = wave / peak
        onset, own = onset_and_length(wave, rate)
        logs = np.log(amps[mine] * peak)
        spread = float(1.4826 * np.median(np.abs(logs - np.median(logs))))
        new.append(wave)
        shapes.append(
            ClickShape(
                rate, wave, onset, own, float(np.exp(np.median(logs))), spread, int(mine.size)
            )
        )
        times.append(starts[mine] / STEPS / rate)
        clear = np.minimum(scores[mine], 40.0)
        heard.append(float(clear.sum() * 1e-3 + clear[clear > 10.0].sum()))
        fits.append(float(np.median(misfit[mine])))
    rank = np.argsort([-h for h in heard], kind="stable")
    kept = [
        int(i)
        for n, i in enumerate(rank)
        if n == 0
        or (
            heard[i] > 8.0 * shapes[i].count
            and another_box(shapes[i], times[i], fits[i], shapes[rank[0]], times[rank[0]])
        )
    ]
    return [new[i] for i in kept], [shapes[i] for i in kept]


def stranger(
    x: Samples,
    pieces: tuple[Explained, ...],
    waves: list[Floats],
    shapes: list[ClickShape],
    spectrum: Floats,
    band: Band,
) -> tuple[Floats, float] | None:
    """Return the response and loudness of what is as loud as the clicks, and alike, but no click.

    Another box may sound so similar that the first look took both for one.
    """
    if not shapes:
        return None
    rate = band.rate_hz
    step = round(SEGMENT_S * rate)
    odd = [
        (p.misfit > STRANGE) & (p.amplitudes > 0.4 * shapes[0].loudness) & (p.scores > THRESHOLD)
        for p in pieces
    ]
    count = sum(int(o.sum()) for o in odd)
    if count < max(8, 0.15 * shapes[0].count):
        return None
    known = tuple(
        replace(p, starts=p.starts[~o], amplitudes=p.amplitudes[~o], voices=p.voices[~o])
        for p, o in zip(pieces, odd, strict=True)
    )
    rest = without_clicks(x, known, waves, rate)
    onset = round((shapes[0].onset_s + 0.5e-3) * rate)
    places = np.concatenate(
        [
            p.starts[o] // STEPS + k * step + onset
            for k, (p, o) in enumerate(zip(pieces, odd, strict=True))
        ]
    )
    half = filtered(rest, whitening_taps(np.sqrt(spectrum), band))
    groups = cluster(half, np.sort(places), rate)
    if not groups or groups[0][1].size < 8:
        return None
    _, starts, amps = groups[0]
    lead = round((PRE_S - 2e-3) * rate)
    order = np.argsort(starts)
    starts, amps = starts[order], amps[order]
    wave = solve_response(rest, (starts - lead) * STEPS, amps / np.median(amps), waves[0].size)
    loud = float(np.abs(wave).max())
    return (wave / loud, loud) if click_like(wave, rate) else None


def usual_fit(pieces: tuple[Explained, ...], shapes: list[ClickShape]) -> tuple[float, float]:
    """Return the misfit that nine out of ten clicks stay below, and the noise they meet."""
    if not shapes:
        return 0.0, 0.0
    fits, amplitudes, energies, scores = (
        np.concatenate([getattr(p, name)[p.voices == 0] for p in pieces])
        for name in ("misfit", "amplitudes", "energies", "scores")
    )
    # what is no click is seldom as loud
    logs = np.log(amplitudes / shapes[0].loudness) / max(shapes[0].spread, 0.1)
    usual = (logs > -1.0) & (logs < 2.5) & (fits < 4.0)
    if not usual.any():
        return 0.0, 0.0
    noise = np.sqrt(energies[usual]) / np.maximum(scores[usual], 1e-9)
    return max(0.0, float(np.quantile(fits[usual], 0.9))), float(np.median(noise))


def without_clicks(
    x: Samples, pieces: tuple[Explained, ...], waves: list[Floats], rate: float
) -> Samples:
    """Return the signal before whitening with all matches taken off, shape (n,)."""
    rest = x.copy()
    fine = make_templates(np.stack(waves)).fine
    step = round(SEGMENT_S * rate) * STEPS
    for k, piece in enumerate(pieces):
        starts = piece.starts + k * step
        take_off(rest, fine, piece.voices, starts, piece.amplitudes, 0, starts.size)
    return rest


def explain_all(
    y: Samples,
    templates: Templates,
    sigma2: float,
    leftover: Leftover,
    own: tuple[int, int],
    rate: float,
) -> tuple[Explained, ...]:
    """Explain an excerpt segment by segment."""
    step = round(SEGMENT_S * rate)
    pieces = []
    for begin in range(0, y.size, step):
        piece = y[begin : begin + step + templates.length]
        if piece.size < templates.length:
            break
        pieces.append(
            explain(
                piece,
                templates,
                sigma2,
                leftover,
                THRESHOLD,
                own=own,
                last=min(step, piece.size),
                rounds=1,
            )
        )
    return tuple(pieces)


def left_behind(
    pieces: tuple[Explained, ...], loudness: float, sigma2: float, rate: float
) -> Leftover:
    """Measure what subtracting a click leaves behind, by distance."""
    tile_s = TILE / GRID / rate
    before, after = round(25e-3 / tile_s), round(60e-3 / tile_s)
    amplitudes = np.concatenate([piece.amplitudes for piece in pieces])
    energies = np.concatenate([piece.energies for piece in pieces])
    fits = np.concatenate([piece.misfit for piece in pieces]) < 0.7
    kinds = np.concatenate([piece.voices for piece in pieces])
    good = np.flatnonzero(fits & (kinds == 0))
    good = good[usual_loudness(amplitudes[good], loudness)]
    loud = np.zeros(energies.size, bool)
    if good.size:
        loud[good] = energies[good] >= np.median(energies[good])
    rows: list[Floats] = []
    first = 0
    for piece in pieces:
        tile = piece.starts // PHASES // TILE
        mine = loud[first : first + tile.size] & (tile >= before)
        mine &= tile < piece.tiles.size - after
        rows.extend(
            (piece.tiles[t - before : t + after] - sigma2) / e
            for t, e in zip(tile[mine], energies[first : first + tile.size][mine], strict=True)
        )
        first += tile.size
    if len(rows) < 3:
        return Leftover(np.full(before + after, 1e-4), before)
    kernel = np.quantile(np.array(rows[:2000]), 0.6, axis=0)
    kernel = np.clip(gaussian_filter1d(kernel, 1.0), 1e-5, None)
    return Leftover(kernel, before)


def background(pieces: tuple[Explained, ...]) -> float:
    """Variance of the noise of the matched filter's normalised output between clicks."""
    tiles = np.concatenate([piece.tiles for piece in pieces])
    return float(np.median(tiles)) / 0.95 + 1e-12
