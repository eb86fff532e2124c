"""The commands of the command line, one a file, in the order in which help lists them.

A command's module says what arguments it takes (`add`) and carries them out; it imports what it
needs where it needs it, so that a start costs little. Findings go to the error stream, results to
the output; no command decides what either of them says.
"""
