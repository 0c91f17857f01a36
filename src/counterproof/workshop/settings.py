"""Settings: a flag wins over an environment variable, that over the settings file.

The file is ``settings.toml`` in the platform's configuration folder, for example
``bench = "/home/me/bench"``. Each setting ``name`` can also be given as ``COUNTERPROOF_NAME``.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs

from counterproof.errors import UserError
from counterproof.texts import text

APP = "counterproof"
PREFIX = "COUNTERPROOF_"


@dataclass(frozen=True)
class Settings:
    """What a person may set once instead of typing it each time."""

    bench: Path | None = None
    mains_hz: float = 50.0
    log_folder: Path | None = None


def settings_file() -> Path:
    """Return where the settings file lies (it need not exist)."""
    return platformdirs.user_config_path(APP) / "settings.toml"


def load_settings(
    flags: Mapping[str, object] | None = None,
    environment: Mapping[str, str] | None = None,
    file: Path | None = None,
) -> Settings:
    """Merge file, environment and flags (``None`` flags count as not given).

    Raises:
        UserError: if the file cannot be read or a value is unknown or of the wrong kind.
    """
    environment = os.environ if environment is None else environment
    path = settings_file() if file is None else file
    merged: dict[str, object] = {}
    try:
        if path.exists():
            merged.update(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise UserError(text("settings.unreadable", path=path, reason=error)) from error
    for name in _KINDS:
        value = environment.get(PREFIX + name.upper())
        if value:
            merged[name] = value
    merged.update({k: v for k, v in (flags or {}).items() if v is not None})
    return Settings(**{name: _read(name, value, path) for name, value in merged.items()})


_KINDS: dict[str, Callable[[Any], Any]] = {"bench": Path, "mains_hz": float, "log_folder": Path}


def _read(name: str, value: object, path: Path) -> Any:
    """Return one setting in its kind, or say which one is not usable."""
    names = ", ".join(_KINDS)
    if name not in _KINDS:
        raise UserError(text("settings.unknown", name=name, path=path, names=names))
    try:
        return _KINDS[name](value)
    except (TypeError, ValueError) as error:
        raise UserError(text("settings.invalid", name=name, value=value, path=path)) from error
