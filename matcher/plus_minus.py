"""What a figure after ± is, in words: every text for people uses these, so that one thing has one name.

A bare ± may be a limit, an interval or a tolerance, which differ by a factor of two and more. A standard uncertainty is
never written with ± (JCGM 100:2008, 7.2.2, note; from memory).
"""

from __future__ import annotations

LIMIT = "limit of error"
"""Of a reading or a tool: it is off by at most this, anywhere within as probably (JCGM 100:2008, 4.3.7)."""

STANDARD = "standard uncertainty"
"""u: one standard deviation of the error (JCGM 100:2008, 2.3.1)."""

INTERVAL = "95 %"
"""The true value lies within, with this probability: the expanded uncertainty U, mostly 2u (JCGM 100:2008, 6.2)."""

DRAWING = "drawing tolerance"
"""What the maker's drawing allows."""

PROCESS = "process tolerance"
"""What parts keep to: the drawing tolerance, but no more than the process needs."""
