"""Subset Gentium Book Plus (SIL Open Font License) to what the pages need and rename it."""
import sys
from pathlib import Path
from fontTools import subset
from fontTools.ttLib import TTFont

FAMILY = "Proof Serif"
KEEP = [*range(0x20, 0x7F), *range(0xA0, 0x180), *range(0x391, 0x3CA)]
KEEP += map(ord, "–—‘’“”„…•·†‡‰′″⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻₀₁₂₃₄₅₆₇₈₉−×÷±≤≥≈≠∞√∑∫∂→←↑↓Ω℃½¼¾⅓⅔\u2009\u202f\u2011♯✓")
STYLES = {"Regular": "Regular", "Bold": "Bold", "Italic": "Italic"}

def main(source: Path, target: Path) -> None:
    for style in STYLES:
        font = TTFont(source / f"GentiumBookPlus-{style}.ttf")
        options = subset.Options(layout_features=["kern", "liga", "mark", "ccmp", "tnum", "lnum"], name_IDs=[0, 1, 2, 3, 4, 5, 6, 13, 14], hinting=False, notdef_outline=True)
        worker = subset.Subsetter(options)
        worker.populate(unicodes=KEEP)
        worker.subset(font)
        for record in font["name"].names:
            new = {1: FAMILY, 2: style, 3: f"{FAMILY} {style}", 4: f"{FAMILY} {style}", 6: f"ProofSerif-{style}"}.get(record.nameID)
            if new:
                record.string = new
        font.save(target / f"proof-serif-{style.lower()}.ttf")
        font.flavor = "woff2"
        font.save(target / f"proof-serif-{style.lower()}.woff2")

main(Path(sys.argv[1]), Path(sys.argv[2]))
