"""How many digits a number may be given: two of its uncertainty, no more (JCGM 100:2008, 7.2.6)."""

from __future__ import annotations

import math


def decimals_for(u: float) -> int:
    """Return how many decimals keep two significant digits of `u`.

    >>> decimals_for(0.00123), decimals_for(0.0996), decimals_for(34.0)
    (4, 2, 0)
    """
    if not math.isfinite(u) or u <= 0.0:
        return 4
    # Through the two-digit form, so that 0.0996 counts as 0.10.
    exponent = int(f"{u:.1e}".split("e")[1])
    return max(0, 1 - exponent)
