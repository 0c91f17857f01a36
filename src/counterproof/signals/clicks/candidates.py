"""Where clicks may be, and which of them look alike: the start of learning without a teacher."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.ndimage import maximum_filter1d

from counterproof.signals.clicks.front import Samples
from counterproof.signals.clicks.tones import hop_size
from counterproof.signals.clicks.voices import usual_loudness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST = 200
ALIKE = 0.6
LEAST_SHARE = 0.1
LEAST_KIND = 6
UNLIKE = 0.08


def candidates(y: Samples, rate: float) -> Ints:
    """Return positions of sudden short rises of the envelope, ascending, shape (m,)."""
    step = max(1, round(0.25e-3 * rate))
    count = y.size // step
    if count < 2:
        return np.empty(0, np.int64)
    cells = y[: count * step].reshape(count, step)
    power = np.einsum("ij,ij->i", cells, cells)
    env = np.sqrt(power[:-1] + power[1:])
    floor = float(np.quantile(env, 0.25)) + 1e-12
    near = round(3e-3 * rate / step)
    top = maximum_filter1d(env, 2 * near + 1)
    peaks = np.flatnonzero((env == top) & (env > 3.0 * floor))
    if peaks.size == 0:
        return peaks
    # loudest in the window before: a click rises out of what was there
    span = round(25e-3 * rate / step)
    gap = round(2e-3 * rate / step)
    before = maximum_filter1d(env, span)
    centre = np.clip(peaks - gap - span // 2, 0, env.size - 1)
    rise = env[peaks] / (before[centre] + floor)
    best = np.argsort(-env[peaks] * np.minimum(rise, 8.0))[:MOST]
    return np.sort((peaks[best] + 1) * step)


def beside_tones(peaks: Ints, cut: NDArray[np.bool_], rate: float) -> Ints:
    """Leave out what may be a tone switched on or off, unless that were most of it."""
    reach = 8
    near = maximum_filter1d(cut.astype(np.uint8), 2 * reach + 1) > 0
    clear = ~near[np.clip(peaks // hop_size(rate), 0, near.size - 1)]
    return peaks[clear] if clear.sum() > 0.25 * peaks.size else peaks


def cluster(y: Samples, peaks: Ints, rate: float) -> list[tuple[Ints, Ints, Floats]]:
    """Group candidates of one shape, the group with most sound first.

    Returns:
        per group: which candidates, where they start, and their amplitudes.
    """
    before, after = round(2e-3 * rate), round(5e-3 * rate)
    inside = np.flatnonzero((peaks > before) & (peaks < y.size - after))
    peaks = peaks[inside]
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
    like = np.empty((count, count), np.float32)
    lag = np.empty((count, count), np.int64)
    for i in range(count):
        match = irfft(spectra[i:] * np.conj(spectra[i]), size, axis=1)[:, lags]
        best = np.argmax(match, axis=1)
        like[i, i:] = like[i:, i] = match[np.arange(count - i), best]
        lag[i, i:] = lags[best]
        lag[i:, i] = -lags[best]
    groups: list[tuple[Ints, Ints, Floats]] = []
    free = np.ones(count, bool)
    while free.any() and len(groups) < 6:
        weight = np.where((like > ALIKE) & free[None, :], like, 0.0).sum(axis=1) * free
        leader = int(np.argmax(weight))
        members = np.flatnonzero((like[leader] > ALIKE) & free)
        free[members] = False
        free[leader] = False
        if members.size >= 3:
            starts = peaks[members] + lag[leader, members] - before
            amplitudes = norms[members] * like[leader, members]
            # noise that looks like the click by chance is far weaker
            order = np.argsort(amplitudes)
            sound = np.cumsum(amplitudes[order] ** 2)
            around = float(amplitudes[order][np.searchsorted(sound, 0.5 * sound[-1])])
            crowd = usual_loudness(amplitudes, around)
            # a counter's clicks are not lost among other sounds as loud as they
            as_loud = norms > 0.5 * np.median(norms[members[crowd]])
            if crowd.sum() < LEAST_SHARE * as_loud.sum():
                continue
            chosen = members[crowd]
            groups += [
                (inside[chosen[part]], starts[crowd][part], amplitudes[crowd][part])
                for part in two_kinds(like[np.ix_(chosen, chosen)])
            ]
    return sorted(groups, key=lambda group: -float((group[2] ** 2).sum()))


def two_kinds(like: NDArray[np.float32]) -> list[Ints]:
    """Part a group whose members are of two kinds, each more like its own than like the other.

    Args:
        like: likeness of each member to each, shape (n, n).

    Returns:
        the members of each kind; one kind, if there are not clearly two.
    """
    everyone = np.arange(like.shape[0])
    if everyone.size < 2 * LEAST_KIND:
        return [everyone]
    one = int(np.argmax(like.sum(axis=1)))
    # the leader of the others: at home among those that are least like the first
    apart = 1.0 - like[one]
    two = int(np.argmax((like * apart[None, :]).sum(axis=1) * apart))
    second = like[two] > like[one]
    kinds = [everyone[~second], everyone[second]]
    if min(kind.size for kind in kinds) < LEAST_KIND:
        return [everyone]
    within = np.concatenate([like[one, kinds[0]], like[two, kinds[1]]])
    across = np.concatenate([like[two, kinds[0]], like[one, kinds[1]]])
    low, high = np.quantile(within, 0.2), np.quantile(across, 0.8)
    clear = low > high and np.median(within) - np.median(across) > UNLIKE
    return kinds if clear else [everyone]
