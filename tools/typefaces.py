#!/usr/bin/env python3
"""Cuts the typefaces of the pages into parts by their letters.

  tools/typefaces.py atkinson=FILE[,FILE] besley=FILE[,FILE]

FILE is the variable font of the family with the axis wght, whole or in files by letters; what
lies in internal/web/static/fonts was cut from the files of version 51d194c. A page loads only the
parts whose letters it has: "basic" is what English needs, "latin" the other letters of
ISO 8859-1, "latin-ext" the rest of Latin. Of the axis only what the style sheets
use is kept, 400 to 700; of the layout features kerning, marks on letters, letters
of a language, and figures of one width. Needs fonttools with brotli
(on Debian: python3-fonttools python3-brotli).
"""
import os
import subprocess
import sys

from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

PARTS = {
    "basic": "U+0000-007E, U+00A0, U+00B7, U+00D7, U+2010-2015, U+2018-2019, U+201C-201D, U+2026, U+2212",
    "latin": "U+007F-009F, U+00A1-00B6, U+00B8-00D6, U+00D8-00FF, U+0131, U+0152-0153, U+02BB-02BC, U+02C6, U+02DA, U+02DC, U+0304, U+0308, U+0329, U+2000-200F, U+2016-2017, U+201A-201B, U+201E-201F, U+2021-2025, U+2027-206F, U+20AC, U+2122, U+2191, U+2193, U+2215, U+FEFF, U+FFFD",
    "latin-ext": "U+0100-0130, U+0132-0151, U+0154-02BA, U+02BD-02C5, U+02C7-02CC, U+02CE-02D7, U+02DD-02FF, U+1D00-1DBF, U+1E00-1E9F, U+1EF2-1EFF, U+2020, U+20A0-20AB, U+20AD-20C0, U+2113, U+2C60-2C7F, U+A720-A7FF",
}
FEATURES = "calt,ccmp,liga,locl,kern,mark,mkmk,tnum,lnum"
FONTS = os.path.join(os.path.dirname(__file__), "..", "internal", "web", "static", "fonts")


def numbers(letters):
    for span in letters.replace("U+", "").split(", "):
        first, _, last = span.partition("-")
        yield from range(int(first, 16), int(last or first, 16) + 1)


def cut(family, files):
    fonts = [TTFont(f) for f in files]
    for part, letters in PARTS.items():
        of = max(fonts, key=lambda f: sum(n in f.getBestCmap() for n in numbers(letters)))
        whole, to = os.path.join(FONTS, family + ".tmp"), os.path.join(FONTS, f"{family}-{part}.woff2")
        instancer.instantiateVariableFont(of, {"wght": (400, 700)}).save(whole)
        subprocess.run([sys.executable, "-m", "fontTools.subset", whole, "--unicodes=" + letters.replace(" ", ""), "--layout-features=" + FEATURES,
                        "--flavor=woff2", "--no-hinting", "--output-file=" + to], check=True)
        os.remove(whole)
        print(os.path.getsize(to), to)


if __name__ == "__main__":
    if len(sys.argv) < 2 or not all("=" in a for a in sys.argv[1:]):
        sys.exit(__doc__)
    for a in sys.argv[1:]:
        family, files = a.split("=", 1)
        cut(family, files.split(","))
