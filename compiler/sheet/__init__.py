"""The sheet: one character's landmarks and measures.

What comes in is a file (TOML, JSON, or another application's markers) and later what a recipe asks
for; what goes out is a `Sheet`, and then `Measures` in metres, radians and plain numbers, with a
finding for everything that is missing, unasked for or wrong. Nothing here knows what a recipe does
with them.
"""

from somite.sheet.form import load, read
from somite.sheet.matching import Measures, Request, measure
from somite.sheet.record import Measured, Quantity, Sheet, SheetNudge, Sides, SourceFile

__all__ = [
    "Measured",
    "Measures",
    "Quantity",
    "Request",
    "Sheet",
    "SheetNudge",
    "Sides",
    "SourceFile",
    "load",
    "measure",
    "read",
]
