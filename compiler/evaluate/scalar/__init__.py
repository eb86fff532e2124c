"""A plan as numbers: one program of plain arithmetic, interpreted as it is or compiled once.

`writer` makes a `Program` of a plan's steps, `interpret` runs it over lists of floats, `compiled`
has the same functions compiled by numba and run over arrays. The other modules hold what each
operation does, in the part of Python that both understand.

Operations turn vectors and multiply quaternions in their own text, again and again. That is on
purpose: compiled, a call costs nothing, but in plain Python one costs as much as the arithmetic in
it, and a pose is made of hundreds. What is not on every pose's way calls `algebra`.
"""
