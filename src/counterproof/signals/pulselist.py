"""Plain lists of pulse times in seconds: one per line, or JSON.

:func:`read_pulse_list` takes one number per line (a heading ``time_s`` may stand above), a JSON
list of numbers, or a JSON object with ``times_s`` (and, if it has them, ``duration_s``,
``resolving_time_s``, ``efficiency``, ``efficiency_u``, ``false_rate_per_s``, ``gaps_s``,
``warnings``), and our own pulse files. There is nothing to map: one number is one pulse, in seconds
from the start of the recording.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from counterproof.errors import UserError
from counterproof.progress import Report, silent
from counterproof.signals.mapping import Mapping
from counterproof.signals.pulseblocks import MAGIC
from counterproof.signals.pulsefile import read_pulses
from counterproof.signals.sniff import read_head
from counterproof.signals.tables import read_table
from counterproof.signals.trains import PulseTrain
from counterproof.texts import text

_HEADINGS = (b"time_s", b"times_s")
_NUMBERS = ("resolving_time_s", "efficiency", "efficiency_u", "false_rate_per_s")


def read_pulse_list(
    path: str | Path, length_s: float | None = None, report: Report = silent
) -> PulseTrain:
    """Read pulse times in seconds from a plain list, JSON or a pulse file.

    Args:
        path: the file.
        length_s: length of the whole recording, where the file does not say it.
        report: asked between pieces.

    Raises:
        UserError: if the file is missing or no such list, or naming the line or place of a time
            that is no number, negative, out of order or after the recording's end.
        Cancelled: if ``report`` answers ``False``.
    """
    path = Path(path)
    head = read_head(path)
    if head.startswith(MAGIC):
        return read_pulses(path, report)
    if head.removeprefix(b"\xef\xbb\xbf").lstrip()[:1] in (b"[", b"{"):
        return _read_json(path, length_s)
    mapping = Mapping(
        "pulse",
        time_columns=(1,),
        separator="none",
        length_s=length_s,
        skip_lines=_heading_lines(head),
    )
    found = read_table(path, mapping, report)
    assert isinstance(found, PulseTrain)
    return found


def _heading_lines(head: bytes) -> int:
    """Return how many lines to pass over: those down to a heading ``time_s``, if there is one."""
    for number, line in enumerate(head.removeprefix(b"\xef\xbb\xbf").splitlines(), start=1):
        plain = line.strip()
        if plain and not plain.startswith(b"#"):
            return number if plain.strip(b"\"'").lower() in _HEADINGS else 0
    return 0


def _read_json(path: Path, length_s: float | None) -> PulseTrain:
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (UnicodeDecodeError, ValueError, RecursionError):
        raise UserError(text("signals.json_broken", path=path)) from None
    except OSError as fault:
        raise UserError(text("signals.read_failed", path=path, reason=fault)) from None
    fields: dict[str, Any] = content if isinstance(content, dict) else {"times_s": content}
    given = fields.get("times_s")
    if not isinstance(given, list):
        raise UserError(text("signals.json_no_times", path=path))
    for place, value in enumerate(given, start=1):
        if not isinstance(value, int | float) or isinstance(value, bool) or not 0 <= value < 1e15:
            raise UserError(text("signals.json_no_number", path=path, place=place))
    times = np.array(given, dtype=np.float64)
    back = np.flatnonzero(np.diff(times) < 0)
    if back.size:
        raise UserError(text("signals.json_time_back", path=path, place=int(back[0]) + 2))
    warnings = [str(item) for item in fields.get("warnings") or []]
    stated = fields.get("duration_s", length_s)
    if stated is None:
        if not times.size:
            raise UserError(text("signals.json_empty", path=path))
        stated = float(times[-1])
        warnings.append(text("signals.table_no_length", path=path))
    try:
        numbers = {name: float(fields[name]) for name in _NUMBERS if fields.get(name) is not None}
        gaps = np.array(fields.get("gaps_s") or [], dtype=np.float64).reshape(-1, 2)
        return PulseTrain(times, float(stated), gaps_s=gaps, warnings=tuple(warnings), **numbers)
    except (TypeError, ValueError):
        raise UserError(text("signals.json_after_end", path=path)) from None
