"""The whole search: which strategy runs when, in which process, and for how long.

An adaptive portfolio: strategies compete for time by the money that they saved a second lately,
and any of them is tried at times (epsilon-greedy; operators chosen by reward: S. Ropke and D.
Pisinger, 2006, doi 10.1287/trsc.1050.0135). Given a `Season` and `SolveOptions`, `run.solve` gives
back a `Plan` with its bound. Acres short come first (lexicographic), then cost.
"""
