"""The best plan so far (incumbent), the proven bound, and the clock, for all that searches.

Given a solution, `offer` keeps it where it is better than the incumbent; the bound only rises, and
all that searches stops when the two are near enough or time is up.
"""
