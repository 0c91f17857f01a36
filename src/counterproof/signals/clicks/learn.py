"""Learn the shape of the clicks from the recording itself.

1. Candidates: short, sudden rises of the whitened envelope.
2. Cluster them by the best cross-correlation of their first milliseconds.
3. For each cluster, solve for the long response (click and room) by least squares over all
   clicks found so far, find clicks with it, and repeat. A follower at one fixed distance is an
   echo, not a second click: it is dropped, and the response takes it in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

from counterproof.signals.clicks.explain import Explained, Leftover, explain
from counterproof.signals.clicks.front import Band, Samples
from counterproof.signals.clicks.matched import Templates, make_templates
from counterproof.signals.clicks.pursuit import GRID, PHASES, STEPS, TILE, take_off
from counterproof.signals.clicks.response import solve_response, tapered
from counterproof.signals.clicks.shape import ClickShape, onset_and_length
from counterproof.signals.clicks.tones import without_tones
from counterproof.signals.clicks.whitening import filtered, noise_spectrum, whitening_taps

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PRE_S = 0.006
LONG_S = 0.060
SEGMENT_S = 4.0
THRESHOLD = 5.0


@dataclass(frozen=True, eq=False)
class Learned:
    """What an excerpt taught.

    Args:
        spectrum: noise spectrum to whiten against.
        usual: spectrum of the recording, clicks and all, that tones stand out of.
        shapes: voices, the most frequent first; empty when nothing clicks.
        sigma2: noise variance of the matched filter's normalised output.
        leftover: what a click leaves behind.
    """

    spectrum: Floats
    usual: Floats
    shapes: tuple[ClickShape, ...]
    sigma2: float
    leftover: Leftover


def candidates(y: Samples, rate: float, most: int = 160) -> Ints:
    """Return positions of sudden short rises of the envelope, ascending, shape (m,)."""
    env = np.sqrt(gaussian_filter1d(y * y, 0.25e-3 * rate, truncate=3.0))
    floor = float(np.quantile(env, 0.25)) + 1e-12
    near = max(3, round(3e-3 * rate))
    top = maximum_filter1d(env, 2 * near + 1)
    peaks = np.flatnonzero((env == top) & (env > 3.0 * floor))
    if peaks.size == 0:
        return peaks
    # loudest in the window before: a click rises out of what was there
    span = round(25e-3 * rate)
    gap = round(2e-3 * rate)
    before = maximum_filter1d(env, span, origin=0)
    centre = np.clip(peaks - gap - span // 2, 0, env.size - 1)
    rise = env[peaks] / (before[centre] + floor)
    order = np.argsort(-rise)
    chosen = peaks[order[: min(2 * most, max(most, peaks.size // 4))]]
    if chosen.size > most:
        chosen = np.sort(chosen)[:: max(1, chosen.size // most)][:most]
    return np.sort(chosen)


def cluster(y: Samples, peaks: Ints, rate: float, alike: float = 0.6) -> list[tuple[Ints, Floats]]:
    """Group candidates of one shape; return (starts, amplitudes) per group, largest first."""
    before, after = round(2e-3 * rate), round(5e-3 * rate)
    peaks = peaks[(peaks > before) & (peaks < y.size - after)]
    if peaks.size == 0:
        return []
    span = np.arange(-before, after)
    cuts = y[peaks[:, None] + span]
    norms = np.sqrt((cuts**2).sum(axis=1)) + 1e-20
    cuts = cuts / norms[:, None]
    size = next_fast_len(cuts.shape[1] + 2 * before, real=True)
    spectra = rfft(cuts.astype(np.float32), size, axis=1)
    reach = round(1.5e-3 * rate)
    lags = np.concatenate([np.arange(0, reach + 1), np.arange(-reach, 0)])
    count = peaks.size
    like = np.empty((count, count))
    lag = np.empty((count, count), np.int64)
    for i in range(count):
        match = irfft(spectra * np.conj(spectra[i]), size, axis=1)[:, lags]
        best = np.argmax(match, axis=1)
        like[i] = match[np.arange(count), best]
        lag[i] = lags[best]
    groups: list[tuple[Ints, Floats]] = []
    free = np.ones(count, bool)
    while free.any() and len(groups) < 6:
        weight = np.where((like > alike) & free[None, :], like, 0.0).sum(axis=1) * free
        leader = int(np.argmax(weight))
        members = np.flatnonzero((like[leader] > alike) & free)
        free[members] = False
        free[leader] = False
        if members.size >= 3:
            starts = peaks[members] + lag[leader, members] - before
            groups.append((starts, norms[members] * like[leader, members]))
    return sorted(groups, key=lambda group: -group[0].size)


def click_like(response: Floats, rate: float) -> bool:
    """Tell a click, whose sound dies within milliseconds, from a beep, a note or a thud."""
    onset, _ = onset_and_length(response, rate)

    def power_between(first_s: float, last_s: float) -> float:
        cut = response[round((onset + first_s) * rate) : round((onset + last_s) * rate)]
        return float(np.mean(cut**2)) if cut.size else np.inf

    early = power_between(0.0, 6e-3)
    if power_between(14e-3, 28e-3) > 0.8 * early or power_between(30e-3, 50e-3) > 0.45 * early:
        return False
    cut = response[round(onset * rate) : round((onset + 6e-3) * rate)]
    power = np.abs(rfft(cut * np.hanning(cut.size), 1024)) ** 2
    freq = np.arange(power.size) * rate / 1024
    return bool((freq * power).sum() > 550.0 * power.sum())


def own_window(response: Floats, rate: float) -> tuple[int, int]:
    """Return first and last sample of the click itself within its template."""
    onset, length = onset_and_length(response, rate)
    first = round((onset - 0.3e-3) * rate)
    return max(0, first), round((onset + max(2.5e-3, min(2.0 * length, 8e-3))) * rate)


def without_echoes(starts: Ints, amplitudes: Floats, rate: float) -> NDArray[np.bool_]:
    """Mark the events to keep: followers at one fixed distance are echoes of what precedes."""
    keep = np.ones(starts.size, bool)
    if starts.size < 6:
        return keep
    time = starts / STEPS
    reach = 45e-3 * rate
    pairs_i: list[Ints] = []
    pairs_j: list[Ints] = []
    for step in range(1, 12):
        i = np.arange(starts.size - step)
        near = time[i + step] - time[i] < reach
        weaker = amplitudes[i + step] < 1.1 * amplitudes[i]
        pairs_i.append(i[near & weaker])
        pairs_j.append(i[near & weaker] + step)
    i, j = np.concatenate(pairs_i), np.concatenate(pairs_j)
    if i.size == 0:
        return keep
    width = 0.2e-3 * rate
    bins = ((time[j] - time[i]) / width).astype(np.int64)
    counts = np.bincount(bins, minlength=int(reach / width) + 2)
    both = counts[:-1] + counts[1:]
    usual = np.median(both)
    limit = max(0.12 * starts.size, usual + 6.0 * np.sqrt(usual + 1.0), 3.0)
    for b in np.flatnonzero(both > limit):
        echo = (bins == b) | (bins == b + 1)
        keep[j[echo]] = False
    return keep


def explain_all(
    y: Samples,
    templates: Templates,
    sigma2: float,
    leftover: Leftover,
    own: tuple[int, int],
    rate: float,
    rounds: int = 1,
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
                rounds=rounds,
            )
        )
    return tuple(pieces)


def usual_loudness(amplitudes: Floats) -> NDArray[np.bool_]:
    """Mark the matches that are as loud as clicks: one log-normal crowd, weak noise left out.

    The crowd is looked for around the median weighted by amplitude, because noise gives many
    weak matches and clicks give fewer loud ones.
    """
    logs = np.log(np.maximum(amplitudes, 1e-12))
    if logs.size < 3:
        return np.ones(logs.size, bool)
    order = np.argsort(logs)
    weight = np.cumsum(amplitudes[order])
    middle = float(logs[order][np.searchsorted(weight, 0.5 * weight[-1])])
    reach = 1.4
    crowd = np.abs(logs - middle) < reach
    for _ in range(8):
        middle = float(np.median(logs[crowd]))
        spread = 1.4826 * float(np.median(np.abs(logs[crowd] - middle)))
        reach = min(max(3.5 * spread, 1.0), 2.2)
        again = np.abs(logs - middle) < reach
        if not again.any() or bool((again == crowd).all()):
            break
        crowd = again
    return crowd


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


def left_behind(
    pieces: tuple[Explained, ...], root: Floats, sigma2: float, rate: float
) -> Leftover:
    """Measure what subtracting a click leaves behind, by distance."""
    tile_s = TILE / GRID / rate
    before, after = round(25e-3 / tile_s), round(60e-3 / tile_s)
    amplitudes = np.concatenate([piece.amplitudes for piece in pieces])
    energies = np.concatenate([(p.amplitudes * root[p.voices]) ** 2 for p in pieces])
    fits = np.concatenate([piece.misfit for piece in pieces]) < 0.7
    good = np.flatnonzero(fits)
    good = good[usual_loudness(amplitudes[good])]
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


def learn(x: Samples, band: Band, *, seeds: tuple[ClickShape, ...] = ()) -> Learned:
    """Learn noise spectrum and click shapes from an excerpt at the working rate.

    Args:
        x: excerpt from the front end, shape (n,).
        band: the working band.
        seeds: taught shapes; nothing is clustered then.
    """
    rate = band.rate_hz
    spectrum = noise_spectrum(x, rate)
    usual = spectrum
    taps = whitening_taps(spectrum, band)
    x = without_tones(x, usual, rate)
    y = filtered(x, taps)
    length = round((PRE_S + LONG_S) * rate)
    waves: list[Floats] = []
    if seeds:
        waves = [seed.waveform for seed in seeds]
    else:
        lead = round((PRE_S - 2e-3) * rate)
        # half-whitened: at high rates the clicks themselves are most of the spectrum
        half = filtered(x, whitening_taps(np.sqrt(spectrum), band))
        for starts, amps in cluster(half, candidates(half, rate), rate):
            if starts.size < max(3, 0.04 * x.size / rate):
                continue
            wave = solve_response(x, (starts - lead) * STEPS, amps / np.median(amps), length)
            if click_like(wave, rate) and not _echo_of(waves, wave, taps, rate):
                waves.append(wave / np.abs(wave).max())
    sigma2 = 1.0
    leftover = Leftover(np.full(40, 3e-3), 10)
    shapes: list[ClickShape] = []
    for turn in range(4):
        if not waves:
            break
        white = np.stack([filtered(w.astype(np.float32), taps) for w in waves])
        templates = make_templates(white)
        own = own_window(waves[0], rate)
        if turn == 0:
            sigma2 = float(np.median(y * y)) / 0.455
        pieces = explain_all(y, templates, sigma2, leftover, own, rate)
        sigma2 = background(pieces)
        leftover = left_behind(pieces, templates.root, sigma2, rate)
        if turn < 2:
            spectrum = noise_spectrum(x, rate, without_clicks(x, pieces, waves, rate))
            taps = whitening_taps(spectrum, band)
            y = filtered(x, taps)
            sigma2 = 1.0
        waves, shapes = _refit(x, y, pieces, waves, rate, length, fixed=bool(seeds))
    return Learned(spectrum, usual, tuple(shapes), sigma2, leftover)


def _echo_of(waves: list[Floats], wave: Floats, taps: NDArray[np.float32], rate: float) -> bool:
    """Tell whether a response is one of those already known, begun later or earlier."""
    own = own_window(wave, rate)
    short = filtered(wave.astype(np.float32), taps)[own[0] : own[1]].astype(np.float64)
    for other in waves:
        long = filtered(other.astype(np.float32), taps).astype(np.float64)
        match = np.correlate(long, short, "valid")
        energy = np.convolve(long**2, np.ones(short.size), "valid")
        height = match / np.sqrt((energy + 0.01 * energy.max()) * (short**2).sum())
        if height.max() > 0.6:
            return True
    return False


def _refit(
    x: Samples,
    y: Samples,
    pieces: tuple[Explained, ...],
    waves: list[Floats],
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
        mine = mine[usual_loudness(amps[mine])]
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
        heard.append(float(np.minimum(scores[mine], 30.0).sum()))
        fits.append(float(np.median(misfit[mine])))
    rank = np.argsort([-h for h in heard], kind="stable")
    kept = [
        int(i)
        for n, i in enumerate(rank)
        if n == 0
        or heard[i] > 8.0 * shapes[i].count
        and _another_box(shapes[i], times[i], fits[i], shapes[rank[0]], times[rank[0]])
    ]
    return [new[i] for i in kept], [shapes[i] for i in kept]


def likeness(one: Floats, other: Floats, rate: float) -> float:
    """Return the highest correlation of one click's own window with another click's sound."""
    first, last = own_window(one, rate)
    short = one[first:last]
    match = np.correlate(other, short, "valid")
    energy = np.convolve(other**2, np.ones(short.size), "valid")
    return float((match / np.sqrt((energy + 0.05 * energy.max()) * (short**2).sum())).max())


def _another_box(
    shape: ClickShape, times: Floats, misfit: float, main: ClickShape, main_times: Floats
) -> bool:
    """Tell a second counter from echoes, remnants and noises that look like one."""
    if shape.count < max(6, 0.03 * main.count) or misfit > 0.5 or shape.spread > 0.6:
        return False
    if likeness(shape.waveform, main.waveform, shape.rate_hz) > 0.6:
        return False
    # a second counter knows nothing of the first: its clicks do not follow the first one's
    span = float(max(times[-1], main_times[-1])) + 1e-9
    reach = 0.040
    chance = 1.0 - np.exp(-main.count / span * 2.0 * reach)
    near = np.searchsorted(main_times, times + reach) - np.searchsorted(main_times, times - reach)
    share = float(np.mean(near > 0))
    return bool(share - chance < 3.0 * np.sqrt(chance * (1.0 - chance) / times.size) + 0.02)
