"""Deciding: the season as a mixed-integer model, how it is solved, and how sure the answer is."""
