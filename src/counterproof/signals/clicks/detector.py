"""Find clicks in a stream: any block sizes in, onset times out, bounded memory and delay."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from counterproof.signals.clicks.explain import NEAR_GRID, Explained, explain
from counterproof.signals.clicks.front import Front, Samples, working_band
from counterproof.signals.clicks.judge import (
    SHORTEST_RESOLVING_S,
    mirrored_clicks,
    quietest,
    threshold_for,
    verdict,
)
from counterproof.signals.clicks.learn import PRE_S, Learned
from counterproof.signals.clicks.matched import Screen, make_templates
from counterproof.signals.clicks.pursuit import GRID, PHASES, STEPS, TILE, take_off
from counterproof.signals.clicks.tones import hop_size, tone_context, without_tones
from counterproof.signals.clicks.voices import own_window
from counterproof.signals.clicks.whitening import Filter, filtered, whitening_taps

Floats = NDArray[np.float64]

BLOCK_S = 0.3
AHEAD_S = 0.025
"""How far clicks are looked for beyond a block, whose sound reaches into it."""
SURELY = 0.5
"""Where no sample reaches this share of the quietest click's peak, there is none."""
BESIDE_HOPS = 4
NOISE_BINS = np.arange(-12.0, 12.0, 0.1)
"""Edges of the bins of the noise met, natural logarithm of its standard deviation."""
LONGEST_RESOLVING_S = 4e-3


class ClickDetector:
    """Detect clicks of known shape in blocks of a recording.

    Args:
        learned: what :func:`counterproof.signals.clicks.learn.learn` found in an excerpt.
        sample_rate_hz: rate of the recording.
        false_rate_per_s: false clicks per second of Gaussian noise to allow.

    Raises:
        ValueError: if ``learned`` holds no shape.
    """

    def __init__(
        self, learned: Learned, sample_rate_hz: float, *, false_rate_per_s: float = 1e-3
    ) -> None:
        """Prepare templates and filters."""
        if not learned.shapes:
            raise ValueError("nothing to look for: no shape was learned")
        self.learned = learned
        self.band = working_band(sample_rate_hz)
        self.threshold = threshold_for(false_rate_per_s)
        rate = self.band.rate_hz
        self._front = Front(self.band)
        self._taps = whitening_taps(learned.spectrum, self.band)
        # what a stretch needs on either side: the whitening's reach and the tones' context
        self._reach = self._taps.size // 2 + tone_context(rate)
        waves = [filtered(s.waveform.astype(np.float32), self._taps) for s in learned.shapes]
        self.templates = make_templates(np.stack(waves))
        self._own = own_window(learned.shapes[0].waveform, rate)
        self._block = round(BLOCK_S * rate) // hop_size(rate) * hop_size(rate)
        length = self.templates.length
        self._filter = Filter(self._taps, self._block + 2 * self._reach)
        self._beyond = round(AHEAD_S * rate)
        self._ahead = self._beyond + length
        self._context = length
        # the whitened signal leads by what a search needs beyond its block, in whole hops
        hop = hop_size(rate)
        self._lead = -(-self._ahead // hop) * hop
        self._screen = Screen(self._taps, self.templates, self._block + 2 * self._reach)
        least = np.array([quietest(s, learned.rate_per_s) for s in learned.shapes])
        peaks = np.array([float(np.abs(s.waveform).max()) for s in learned.shapes])
        self._faintest = float((least * peaks).min())
        self._least = SURELY * least[:, None]
        self._empty: list[bool] = []
        # not yet whitened and not yet searched, each with what it needs before
        self._raw = np.zeros(self._reach, np.float32)
        self._white = np.zeros(self._context, np.float32)
        self._next = 0
        self._onset = np.array([s.onset_s for s in learned.shapes])
        self.times: list[Floats] = []
        self.voices: list[NDArray[np.int64]] = []
        self.amplitudes: list[Floats] = []
        self.scores: list[Floats] = []
        self.misfits: list[Floats] = []
        self.cut: list[NDArray[np.bool_]] = []
        self.doubts: list[Floats] = []
        self.mirrored = 0
        self.nearly = 0
        self.noise = np.zeros(NOISE_BINS.size + 1)
        self.seconds = 0.0

    @property
    def resolving_time_s(self) -> float:
        """Events closer than this count as one: the click's own length, at most 4 ms."""
        length = self.learned.shapes[0].length_s
        return min(max(length, SHORTEST_RESOLVING_S), LONGEST_RESOLVING_S)

    @property
    def faintest(self) -> float:
        """Peak of the quietest click that is looked for, in the recording's own scale."""
        return self._faintest

    @property
    def delay_s(self) -> float:
        """Longest time from a click's onset until it is reported, when sound comes at once."""
        ahead = self._block + self._lead + self._reach
        return self._front.delay_s + ahead / self.band.rate_hz

    def push(self, block: NDArray[np.floating]) -> Floats:
        """Take a block of the recording; return onset times (s) that became certain."""
        return self.push_working(self._front.push(block))

    def push_working(self, block: Samples) -> Floats:
        """Take a block that has already passed the front end."""
        self._raw = np.concatenate([self._raw, block])
        return self._advance(last=False)

    def finish(self) -> Floats:
        """Return the onset times of what is left; the detector is spent afterwards."""
        self.push_working(self._front.finish())
        return self.finish_working()

    def finish_working(self) -> Floats:
        """Finish a detector fed by :meth:`push_working`."""
        self._raw = np.concatenate([self._raw, np.zeros(self._reach, np.float32)])
        return self._advance(last=True)

    def _advance(self, *, last: bool) -> Floats:
        out = [np.empty(0)]
        block, reach = self._block, self._reach
        while self._raw.size >= (size := block if self._empty else self._lead) + 2 * reach:
            self._whiten(size)
            while self._white.size >= self._context + block + self._ahead:
                out.append(self._search(block))
        if last:
            if self._raw.size > 2 * reach:
                self._whiten(self._raw.size - 2 * reach)
            left = self._white.size - self._context
            self._white = np.concatenate([self._white, np.zeros(self._ahead, np.float32)])
            while left > 0:
                size = min(block, left)
                out.append(self._search(size))
                left -= size
        return np.concatenate(out)

    def _whiten(self, size: int) -> None:
        """Whiten the next ``size`` samples, free of tones; note whether no click begins there."""
        reach, hop = self._reach, hop_size(self.band.rate_hz)
        piece = self._raw[: size + 2 * reach]
        inner = slice(reach, reach + size)
        cut = np.zeros(-(-size // hop), bool)
        noise = self.learned.sigma2
        if float(np.abs(piece).max()) < SURELY * self._faintest:
            white, empty = np.zeros(size, np.float32), True
        else:
            white, heights = self._screen(piece, inner)
            empty = bool(self._empty) and bool((np.abs(heights) < self._least).all())
            noise = max(noise, float(np.mean(heights[0] ** 2)) * float(self.templates.root[0]) ** 2)
        if empty:
            self._add_noise(np.full(GRID * size // TILE, noise))
        else:
            calm, tones = without_tones(piece, self.learned.usual, self.band.rate_hz)
            cut = tones[np.arange(reach, reach + size, hop) // hop]
            if cut.any():
                white = self._filter(calm)[inner]
        self._empty.append(empty)
        self.cut.append(cut)
        self._white = np.concatenate([self._white, white])
        self._raw = self._raw[size:]

    def _search(self, size: int) -> Floats:
        """Explain the next ``size`` samples and what follows them; keep the former's clicks."""
        context = self._context
        region = self._white[: context + size + self._ahead]
        self.seconds += size / self.band.rate_hz
        first, last = self._piece(self._next), self._piece(self._next + size - 1)
        if all(self._empty[first : last + 1]):
            self._white = self._white[size:]
            self._next += size
            return np.empty(0)
        found = explain(
            region,
            self.templates,
            self.learned.sigma2,
            self.learned.leftover,
            self.threshold,
            own=self._own,
            # a template begins before its click, the first of all before the recording
            first=context - (8 if self._next else round(PRE_S * self.band.rate_hz)),
            last=context + size + self._beyond,
        )
        mine = found.starts < (context + size) * STEPS
        rate = self.band.rate_hz
        beside = self._beside_tones(found.starts)
        judged = verdict(found, self.learned, self.threshold, rate, beside, self.resolving_time_s)
        good = judged.clicks & mine
        self.nearly += int((judged.nearly & mine & (found.voices == 0)).sum())
        self._note_noise(found, judged.clicks, size)
        start = found.starts[good] / STEPS - context + self._next
        times = start / rate + self._onset[found.voices[good]]
        # the clicks of this block leave the signal, so that their echoes do not reach the next
        self._keep_rest(found.starts[mine], found.amplitudes[mine], found.voices[mine], size)
        self._next += size
        self.times.append(times)
        self.voices.append(found.voices[good])
        self.amplitudes.append(found.amplitudes[good])
        self.scores.append(found.scores[good])
        self.misfits.append(found.misfit[good])
        self.doubts.append(judged.doubts[good])
        self.mirrored += mirrored_clicks(
            found, judged.clicks, self.learned, self.threshold, rate, self.resolving_time_s
        )
        return np.asarray(times, np.float64)

    def _note_noise(self, found: Explained, clicks: NDArray[np.bool_], size: int) -> None:
        """Add up how much noise a click in this block would meet, later than a resolving time."""
        local = uniform_filter1d(found.tiles, 2 * NEAR_GRID // TILE)
        noise = np.maximum(found.variance[: local.size], local)
        free = np.zeros(noise.size, bool)
        free[GRID * self._context // TILE : GRID * (self._context + size) // TILE] = True
        tile = found.starts[clicks] // PHASES // TILE
        for step in range(-1, 1 + round(self.resolving_time_s * self.band.rate_hz * GRID / TILE)):
            free[np.clip(tile + step, 0, free.size - 1)] = False
        self._add_noise(noise[free])

    def _add_noise(self, variances: Floats) -> None:
        bins = np.searchsorted(NOISE_BINS, 0.5 * np.log(variances + 1e-30))
        self.noise += np.bincount(bins, minlength=self.noise.size)

    def _beside_tones(self, starts: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Mark the matches near which a tone was cut out."""
        hop = hop_size(self.band.rate_hz)
        begin = self._next - self._context
        first = self._piece(begin)
        cut = np.concatenate(self.cut[first : first + 4])
        near = maximum_filter1d(cut.astype(np.uint8), 2 * BESIDE_HOPS + 1) > 0
        since = begin - (self._lead + (first - 1) * self._block if first else 0)
        at = (starts // STEPS + since + round(float(self._onset[0]) * self.band.rate_hz)) // hop
        return np.asarray(near[np.clip(at, 0, near.size - 1)])

    def _piece(self, sample: int) -> int:
        """Return which of the whitened pieces holds a sample."""
        return max(0, 1 + (sample - self._lead) // self._block)

    def _keep_rest(
        self,
        starts: NDArray[np.int64],
        amplitudes: Floats,
        voices: NDArray[np.int64],
        size: int,
    ) -> None:
        rest = self._white.copy()
        take_off(rest, self.templates.fine, voices, starts, amplitudes, 0, starts.size)
        self._white = rest[size:]
