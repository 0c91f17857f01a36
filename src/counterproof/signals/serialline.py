"""Any serial line that sends a byte or a line per pulse, or lines with numbers.

There is no list of instruments here: what a line means is a
:class:`~counterproof.signals.mapping.Mapping` (separator, column, role, unit), suggested from a
sample by :func:`suggest_line_mapping`, shown and confirmed. Times are the arrival on this
computer's monotonic clock; a USB adapter may hold bytes back for some 16 ms (common practice, no
source), so pulses that come together are set apart by no more than the line's own byte time.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from counterproof.errors import UserError
from counterproof.signals.live import Gap, PulseBatch, QueuedSource, ReadingBatch
from counterproof.signals.mapping import SEPARATORS, Mapping
from counterproof.signals.suggest import suggest_from_lines
from counterproof.signals.tablelines import parse_number
from counterproof.texts import text

if TYPE_CHECKING:
    import serial

_LONGEST_LINE = 4096
_BITS_PER_BYTE = 10  # one start bit, eight data bits, one stop bit


def serial_ports() -> list[tuple[str, str]]:
    """Return (port, description) of the serial ports that this computer has now."""
    from serial.tools import list_ports

    return [(port.device, port.description) for port in list_ports.comports()]


def _open(port: str, baud: int) -> serial.Serial:
    import serial

    try:
        return serial.serial_for_url(port, baudrate=baud, timeout=0.02, exclusive=True)
    except ValueError as fault:
        raise UserError(text("signals.serial_setting", port=port, reason=fault)) from None
    except (serial.SerialException, OSError) as fault:
        known = ", ".join(name for name, _ in serial_ports()) or text("signals.serial_none")
        if isinstance(fault, PermissionError) or "ermission" in str(fault):
            raise UserError(text("signals.serial_denied", port=port)) from None
        key = "serial_busy" if Path(port).exists() else "serial_no_port"
        raise UserError(text(f"signals.{key}", port=port, known=known)) from None


def sample_line(port: str, baud: int = 9600, seconds: float = 10.0) -> bytes:
    """Listen to a line for a while, to suggest a mapping from what it sends.

    Raises:
        UserError: if the port cannot be opened, breaks off, or sends nothing.
    """
    import serial

    found = bytearray()
    end = time.monotonic() + seconds
    with _open(port, baud) as line:
        line.reset_input_buffer()
        while time.monotonic() < end and len(found) < 100_000:
            try:
                found += line.read(max(1, line.in_waiting))
            except (serial.SerialException, OSError, TypeError):
                raise UserError(text("signals.serial_lost", port=port)) from None
    if not found:
        raise UserError(text("signals.serial_silent", port=port, seconds=seconds))
    return bytes(found)


def suggest_line_mapping(sample: bytes) -> Mapping:
    """Guess what a line's bytes mean, to be shown and confirmed.

    Args:
        sample: what was heard, such as from :func:`sample_line`.
    """
    plain = sample.replace(b"\r", b"\n")
    lines = [line for line in plain.split(b"\n")[1:-1] if line.strip()]  # the ends may be torn
    odd = sum((byte < 32 and byte not in b"\t\r\n") or byte > 126 for byte in sample)
    if b"\n" not in plain or odd > len(sample) // 20:
        return Mapping("byte", reasons={"role": text("signals.why_bytes")})
    shown = [line.decode("ascii", "replace") for line in lines]
    mapping = suggest_from_lines(shown)
    if mapping is None or len(set(shown)) == 1:
        preview = tuple((line,) for line in shown[:8])
        why = {"role": text("signals.why_same_lines")}
        return Mapping("pulse", separator="none", reasons=why, preview=preview)
    return mapping


class SerialSource(QueuedSource):
    """A serial line, listened to in a thread; survives a pulled plug.

    Args:
        port: such as ``/dev/ttyUSB0`` or ``COM3``.
        mapping: what bytes or lines mean; role ``byte`` and ``pulse`` give :class:`PulseBatch`,
            all others :class:`ReadingBatch` (for ``counts``: at the end of each interval).
        baud: line speed in bits per second.
        tick_s: how often an event comes, also when nothing arrives.
        patience_s: how long to wait for a lost port to come back before giving up.

    Raises:
        UserError: if the port cannot be opened or the mapping is incomplete.
    """

    def __init__(
        self,
        port: str,
        mapping: Mapping,
        *,
        baud: int = 9600,
        tick_s: float = 0.1,
        patience_s: float = 3600.0,
    ) -> None:
        """Open the port and begin to listen."""
        mapping.check(arrival=True)
        self.port, self.mapping = port, mapping
        self._baud, self._tick_s, self._patience_s = baud, tick_s, patience_s
        self._pulses = mapping.role in ("byte", "pulse")
        self._unreadable = 0
        self._complaint: int | None = None  # where among the warnings
        self._line = _open(port, baud)
        self._line.reset_input_buffer()  # what waits there came at an unknown time
        super().__init__()
        self._halt = threading.Event()
        self._forget()
        self._reached = 0.0
        self._thread = threading.Thread(target=self._listen, name="serial line", daemon=True)
        self._thread.start()

    def _forget(self) -> None:
        """Drop what is half read: after opening, the first line may be torn."""
        self._rest = b""
        self._torn = not self._pulses
        self._times: list[float] = []
        self._values: list[float] = []

    def _listen(self) -> None:
        import serial

        while not self._halt.is_set():
            try:
                data = self._line.read(max(1, self._line.in_waiting))
            except (serial.SerialException, OSError, TypeError):
                self._emit(self.now_s())
                if not self._reconnect():
                    break
                continue
            now = self.now_s()
            if data:
                self._take(data, now)
            if now - self._reached >= self._tick_s:
                self._emit(now)
        self._emit(self.now_s())

    def _take(self, data: bytes, now: float) -> None:
        byte_s = _BITS_PER_BYTE / self._baud
        last = self._times[-1] if self._times else self._reached
        earliest = [max(now - (len(data) - 1 - i) * byte_s, last) for i in range(len(data))]
        if self.mapping.role == "byte":
            self._times += earliest
            return
        plain = data.replace(b"\r", b"\n")
        begin = 0
        for at in (i for i, byte in enumerate(plain) if byte == 10):
            line, self._rest = self._rest + plain[begin:at], b""
            begin = at + 1
            if line.strip():
                self._take_line(line, earliest[at])
        self._rest += plain[begin:]
        if len(self._rest) > _LONGEST_LINE:
            self._rest = b""
            self._complain()

    def _take_line(self, line: bytes, at: float) -> None:
        if self._pulses:
            self._times.append(at)
            return
        if self._torn:
            self._torn = False
            return
        shown = line.decode("ascii", "replace").strip()
        if self.mapping.comment and shown.startswith(self.mapping.comment):
            return
        mark = SEPARATORS[self.mapping.separator]
        cells = shown.split() if mark == " " else shown.split(mark) if mark else [shown]
        value, fits = self._number(cells)
        if value is None or not np.isfinite(value) or value < 0 or not fits:
            self._complain()
            return
        self._times.append(at)
        self._values.append(value)

    def _number(self, cells: Sequence[str]) -> tuple[float | None, bool]:
        """Return the value and whether its unit (and wholeness) is what the mapping says."""
        if len(cells) < max(self.mapping.columns):
            return None, False
        mapping = self.mapping
        cell = cells[mapping.value_column - 1].strip().strip('"')
        value, behind = parse_number(cell, mapping.decimal)
        if value is None:
            return None, False
        fits = not behind or behind == mapping.unit
        if mapping.unit_column:
            fits = fits and cells[mapping.unit_column - 1].strip() == mapping.unit
        if mapping.role == "counts":
            fits = fits and value == round(value) if np.isfinite(value) else False
        return value, fits

    def _complain(self) -> None:
        self._unreadable += 1
        sentence = text("signals.serial_unreadable", port=self.port, count=self._unreadable)
        if self._complaint is None:
            self._complaint = len(self.warnings)
            self.warnings.append(sentence)
        else:
            self.warnings[self._complaint] = sentence

    def _emit(self, now: float) -> None:
        times = np.array(self._times, dtype=np.float64)
        start = min(self._reached, float(times[0])) if times.size else self._reached
        until = max(now, float(times[-1])) if times.size else now
        if self._pulses:
            self._put(PulseBatch(start, until, times))
        else:
            self._put(ReadingBatch(start, until, times, np.array(self._values, dtype=np.float64)))
        self._times, self._values, self._reached = [], [], until

    def _reconnect(self) -> bool:
        """Wait for the port to come back; note the gap."""
        lost = self._reached
        reason = text("signals.serial_lost", port=self.port)
        self._line.close()
        back = False
        while not back and not self._halt.wait(0.1):
            if self.now_s() - lost > self._patience_s:
                break
            try:
                self._line = _open(self.port, self._baud)
                self._line.reset_input_buffer()
                back = True
            except (UserError, OSError):
                continue
        self._reached = self.now_s()
        self._forget()
        self._put(Gap(lost, self._reached, reason))
        if not back and not self._halt.is_set():
            self.warnings.append(text("signals.serial_gone", port=self.port))
            self._closed.set()
        return back

    def _stop(self) -> None:
        self._halt.set()
        self._thread.join(timeout=5.0)
        self._line.close()
