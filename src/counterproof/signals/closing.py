"""What is closed at the end of a ``with`` block."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Self


class Closing(ABC):
    """A thing with a ``close`` that ends a ``with`` block, fault or no fault."""

    @abstractmethod
    def close(self) -> None:
        """Let go of what is held."""

    def __enter__(self) -> Self:
        """Use as a context manager: closes at the end."""
        return self

    def __exit__(self, *fault: object) -> None:
        """Close."""
        self.close()
