"""What expansion works with: scopes and names, things with lazily known places, and values.

`somite.expand` drives it and `somite.statements` says what each statement means; nothing here knows
which statements there are.
"""
