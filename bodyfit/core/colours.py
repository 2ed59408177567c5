"""Colours of everything that is shown: one for left and one for right, on pages, in pictures and in pose.glb.

Left is the bluish green of Okabe & Ito 2008, "Color Universal Design" (jfly.uni-koeln.de/color); right is our
own plum. They differ in lightness first, by 3:1, and each stands out from white by 3:1 or more (WCAG 2.2,
1.4.11), so that they stay apart for every kind of colour vision and on a grey print. Wherever one is drawn,
a dash, a letter or a word tells the side a second time.
"""

from __future__ import annotations

SIDES = {"left": "#009e73", "middle": "#59636e", "right": "#4b2a66"}
INK = "#1f2430"  # text, and what is drawn of no side
FAINT = "#d9d5ca"  # lines that only guide the eye
RANGE = "#eff2f6"  # ground of a published range
PAGE = {
    "ink": INK,
    "quiet": "#565d6b",
    "paper": "#fbfaf6",
    "sheet": "#ffffff",
    "line": FAINT,
    "edge": "#8d8a80",
    "hover": "#f1edf5",
    "accent": SIDES["right"],
    "range": RANGE,
    "serious": "#b34700",
    "warning": "#8a5a00",
    "note": "#00639a",
    "chosen": "#e69f00",
} | SIDES
