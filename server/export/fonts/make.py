"""Cuts the two weights of the flight sheet from the pages' own font (SIL Open Font License 1.1, OFL.txt).

    python server/export/fonts/make.py

needs `npm --prefix web ci`, and fonttools and brotli. Digits of one width take the place of the others, hinting and what
shapes scripts that are not in it are left out, Latin and extended Latin become one file.
"""

from pathlib import Path
from tempfile import TemporaryDirectory

from fontTools import merge, subset
from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont

HERE = Path(__file__).parent
SOURCE = HERE / "../../../web/node_modules/@fontsource-variable/atkinson-hyperlegible-next/files"


def tabular(font):
    """Which glyphs stand for digits of one width."""
    table = font["GSUB"].table
    lookups = [i for record in table.FeatureList.FeatureRecord if record.FeatureTag == "tnum" for i in record.Feature.LookupListIndex]
    mapping = {}
    for lookup in lookups:
        for part in table.LookupList.Lookup[lookup].SubTable:
            mapping.update(getattr(part, "ExtSubTable", part).mapping)
    return mapping


def cut(weight, part, to):
    font = TTFont(SOURCE / f"atkinson-hyperlegible-next-{part}-wght-normal.woff2")
    font.flavor = None
    font = instantiateVariableFont(font, {"wght": weight})
    if part == "latin":
        digits = tabular(font)
        for table in font["cmap"].tables:
            table.cmap.update({code: digits[glyph] for code, glyph in table.cmap.items() if glyph in digits})
    for name in ("GSUB", "GPOS", "GDEF", "STAT", "prep", "gasp", "HVAR", "MVAR", "avar"):
        if name in font:
            del font[name]
    options = subset.Options(notdef_outline=True, name_IDs=["*"], hinting=False)
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=list(font.getBestCmap()))
    subsetter.subset(font)
    font.save(to)


for weight, name in ((400, "regular"), (700, "bold")):
    with TemporaryDirectory() as place:
        parts = []
        for part in ("latin", "latin-ext"):
            parts.append(f"{place}/{part}.ttf")
            cut(weight, part, parts[-1])
        font = merge.Merger().merge(parts)
        font["head"].created = font["head"].modified = 0
        font.recalcTimestamp = False
        font.save(HERE / f"atkinson-hyperlegible-next-{name}.ttf")
