"""A microphone or sound card, as a live source of sound.

sounddevice (and the PortAudio library below it) is imported only here and only when asked for, so
that everything else works without it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from counterproof.errors import UserError
from counterproof.signals.live import Gap, QueuedSource, SoundBlock
from counterproof.texts import text

_LATE_S = 0.005
"""The card's clock and the count of its samples may differ by this much before a stretch counts as
missing; buffers are some milliseconds long."""


def _library() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError):
        raise UserError(text("signals.no_portaudio")) from None
    return sounddevice


def microphones() -> list[tuple[int, str, int, float]]:
    """Return (number, name, channels, usual sample rate) of each input.

    Raises:
        UserError: if PortAudio is not installed or finds no sound system.
    """
    library = _library()
    try:
        devices = library.query_devices()
    except library.PortAudioError as fault:
        raise UserError(text("signals.no_microphone", reason=fault)) from None
    return [
        (number, str(entry["name"]), int(entry["max_input_channels"]), entry["default_samplerate"])
        for number, entry in enumerate(devices)
        if entry["max_input_channels"] > 0
    ]


class MicrophoneSource(QueuedSource):
    """A microphone; yields :class:`SoundBlock`, and :class:`Gap` where samples were lost.

    A gap is followed by silence of its length, so that counting samples keeps the time.

    Args:
        device: number or part of the name; ``None`` for the system's usual one.
        sample_rate_hz: ``None`` for the device's usual one.
        channel: which channel, counted from 0.
        block_s: length of a block in seconds.

    Raises:
        UserError: if PortAudio or the device is missing, busy, or lacks rate or channel.
    """

    def __init__(
        self,
        device: int | str | None = None,
        *,
        sample_rate_hz: int | None = None,
        channel: int = 0,
        block_s: float = 0.05,
    ) -> None:
        """Open the device and begin to listen."""
        library = _library()
        self._channel = channel
        self._samples = 0  # delivered, gaps included
        self._first_adc: float | None = None
        try:
            about = library.query_devices(device, "input")
            self.sample_rate_hz = int(sample_rate_hz or about["default_samplerate"])
            super().__init__(most_waiting=max(10, round(30 / block_s)))
            self._stream = library.InputStream(
                device=device,
                samplerate=self.sample_rate_hz,
                channels=channel + 1,
                dtype="float32",
                blocksize=round(block_s * self.sample_rate_hz),
                callback=self._hear,
            )
            self._stream.start()
        except (library.PortAudioError, ValueError, OSError) as fault:
            reason = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
            raise UserError(text("signals.no_microphone", reason=reason)) from None
        self.name = str(about["name"])

    def _hear(self, data: NDArray[np.float32], frames: int, clock: Any, status: Any) -> None:
        """Take a block from the card's thread: short, and never raising."""
        rate = self.sample_rate_hz
        adc = float(clock.inputBufferAdcTime)
        if self._first_adc is None:
            self._first_adc = adc
        late = adc - self._first_adc - self._samples / rate
        if getattr(status, "input_overflow", False) and late > _LATE_S:
            lost = round(late * rate)
            start = self._samples / rate
            self._samples += lost
            until = self._samples / rate
            self._put(Gap(start, until, text("signals.live_overflow")))
        elif late < -_LATE_S or late > 1.0:
            self._first_adc = adc - self._samples / rate  # a card whose clock is no clock
        start = self._samples / rate
        self._samples += frames
        block = SoundBlock(start, self._samples / rate, data[:, self._channel].copy())
        self._put(block)

    def _stop(self) -> None:
        self._stream.stop()
        self._stream.close()
