#!/usr/bin/env python3
"""Cuts the typefaces of the pages into parts by their letters.

  tools/typefaces.py atkinson=FILE[,FILE] besley=FILE[,FILE]

FILE is the variable font of the family with the axis wght, whole or in files by letters; what
lies in internal/web/static/fonts was cut from the files of version 51d194c. A page loads only the
parts whose letters (tokens.css) it has: "basic" is what English needs, "latin" the other letters of
ISO 8859-1, "latin-ext" the rest of Latin. Of the axis only what the style sheets
use is kept, 400 to 700; of the layout features kerning, marks on letters, letters
of a language, and figures of one width. Needs fonttools with brotli
(on Debian: python3-fonttools python3-brotli).
"""
import os
import re
import subprocess
import sys

from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

FEATURES = "calt,ccmp,liga,locl,kern,mark,mkmk,tnum,lnum"
STATIC = os.path.join(os.path.dirname(__file__), "..", "internal", "web", "static")
FONTS = os.path.join(STATIC, "fonts")


def parts(family):
    """The parts of a family and their letters, as tokens.css names them."""
    with open(os.path.join(STATIC, "tokens.css"), encoding="utf-8") as f:
        return re.findall(r'url\("fonts/' + family + r'-([a-z-]+)\.woff2"\)[^}]*unicode-range: ([^;]+);', f.read())


def numbers(letters):
    for span in letters.replace("U+", "").split(", "):
        first, _, last = span.partition("-")
        yield from range(int(first, 16), int(last or first, 16) + 1)


def cut(family, files):
    fonts = [TTFont(f) for f in files]
    for part, letters in parts(family):
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
