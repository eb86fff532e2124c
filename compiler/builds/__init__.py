"""Builds: from jobs to files that are whole, and known to be up to date without being made again.

`job` says what a build is, `cast_file` and `cast` list those of a project, `stamp` knows what was
built last, `build` makes what is not up to date. What need not be made imports nothing slow.
"""
