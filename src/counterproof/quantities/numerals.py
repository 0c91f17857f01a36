"""Numbers as people write them: decimal comma or point, grouped digits, powers of ten.

A lone comma before exactly three digits (``1,000``) could be a thousand or one: it is refused
rather than guessed, unless a leading zero (``0,125``) or a second separator settles it.
"""

from __future__ import annotations

import re

from counterproof.errors import UserError
from counterproof.texts import text

SPACES = "\u0020\u00a0\u2007\u2009\u202f"
"""Plain, no-break, figure, thin and narrow no-break space: all group digits."""

_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺", "0123456789-+")
_POWER = rf"(?:[eE][+-]?\d+|[{SPACES}]*[×xX·*][{SPACES}]*10(?:\^|\*\*)?[+\-⁻⁺]?[\d⁰¹²³⁴⁵⁶⁷⁸⁹]+)"
NUMBER = re.compile(
    rf"[+\-−]?(?:\d{{1,3}}(?:[{SPACES}']\d{{3}})+(?:[.,]\d+)?|\d[\d.,]*|[.,]\d+)(?:{_POWER})?"
)
"""Matches a number at the start of a text; :func:`parse_number` reads what it matched."""


def parse_number(written: str) -> float:
    """Read a number, with decimal comma or point, grouped digits and a power of ten.

    Raises:
        UserError: if it is not a number, or if its comma may mean either thing.
    """
    whole = written.strip(SPACES).replace("−", "-")
    if not NUMBER.fullmatch(whole):
        raise UserError(text("quantities.not_a_number", given=written))
    power = re.search(_POWER + r"$", whole)
    exponent = 0
    if power:
        digits = power.group().translate(_SUPERSCRIPTS)
        exponent = int(
            re.sub(rf"^(?:[eE]|[{SPACES}]*[×xX·*][{SPACES}]*10(?:\^|\*\*)?)", "", digits)
        )
        whole = whole[: power.start()]
    whole = re.sub(rf"[{SPACES}']", "", whole)
    return float(f"{_plain(whole, written)}e{exponent}")


def _plain(digits: str, written: str) -> str:
    """Turn either convention into Python's."""
    comma, point = digits.rfind(","), digits.rfind(".")
    if comma >= 0 and point >= 0:  # the last one is the decimal sign, the other one groups
        group, decimal = (",", ".") if point > comma else (".", ",")
        head, _, tail = digits.rpartition(decimal)
        if decimal in head or not re.fullmatch(rf"[+-]?\d{{1,3}}(?:\{group}\d{{3}})+", head):
            raise UserError(text("quantities.not_a_number", given=written))
        return head.replace(group, "") + "." + tail
    sign = "," if comma >= 0 else "."
    if digits.count(sign) > 1:
        if not re.fullmatch(rf"[+-]?\d{{1,3}}(?:\{sign}\d{{3}})+", digits):
            raise UserError(text("quantities.not_a_number", given=written))
        return digits.replace(sign, "")
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", digits):
        bare = digits.replace(",", "")
        raise UserError(
            text(
                "quantities.ambiguous_comma",
                given=written,
                thousand=bare,
                decimal=digits.replace(",", "."),
            )
        )
    return digits.replace(",", ".")
