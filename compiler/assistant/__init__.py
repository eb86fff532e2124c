"""The sheet assistant: blank sheets, sheets filled from published tables, variants of sheets.

What comes in is a recipe as it was read, a stature, or sheets; what goes out is the text of a new
sheet, with findings for what could not be said. Nothing here reads or writes a file, and no rig is
built.
"""
