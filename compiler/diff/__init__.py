"""Two rigs compared by what they mean: what changed, how they move, and what it does to clips.

In come rigs, out go records. `review.reviewed` gives everything of one character; `matching`,
`comparing`, `compatibility`, `skin` and `behaviour` are its parts. `applying` makes the new rig out
of the old one and the changes, `carrying` takes values over to its channels. Nothing here reads a
file or words a report.
"""
