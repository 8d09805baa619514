"""The picture of a case over time: windows as bars, events as marks, now as a line.

Drawn twice, wide and narrow, so that the words keep
their size on a phone; the style sheet shows one. Everything in the picture is also in `text`.

A pure function of its arguments. The picture holds no style of its own: colours come from the classes
of `worklist.css`, so that it follows the dark mode, prints, and passes a strict content policy.
"""

from thimble.web.timeline.page import Timeline, draw
from thimble.web.timeline.scales import NARROW, WIDE, Scale

__all__ = ["NARROW", "WIDE", "Scale", "Timeline", "draw"]
