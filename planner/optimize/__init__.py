"""Deciding: the season as a mixed-integer program, how it is solved, and how sure the answer is.

`search.run.solve` takes a `Season` and `SolveOptions` and returns a `Plan` with the bound that was
proven for it; `from_plan` starts from a plan that is known. README.md in this folder tells how it
works, room by room. Papers are named from memory, here and in the rooms below.
"""
