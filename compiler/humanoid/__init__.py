"""What published standards and tables say of the human body, as data.

`standard` holds the joints of ISO/IEC 19774, `tables` the proportions and surveys; each reads the
data file beside it. Nothing here knows recipes, sheets or rigs. The figures are for drawing
characters, not for medicine or safety.
"""
