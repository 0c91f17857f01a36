"""Errors that a person can mend.

Anything raised as :class:`UserError` reaches the user as one sentence, without a traceback,
and ends a command with exit code 2. Everything else is a defect of ours.
"""

from __future__ import annotations


class UserError(Exception):
    """One clear sentence: what is wrong and how to mend it.

    Args:
        message: the sentence, usually from :func:`counterproof.texts.text`.
    """

    def __init__(self, message: str) -> None:
        """Keep the sentence."""
        super().__init__(message)
        self.message = message


class Cancelled(Exception):
    """The person asked to stop; nothing was left half-written."""
