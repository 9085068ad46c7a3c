"""Simulated annealing on whole plans, its moves compiled.

S. Kirkpatrick, C. D. Gelatt and M. P. Vecchi, "Optimization by simulated annealing", 1983, doi
10.1126/science.220.4598.671. Moves are ejection chains (F. Glover, 1996, doi
10.1016/0166-218X(94)00037-E), swaps, and ruin and recreate (G. Schrimpf and others, 2000, doi
10.1006/jcph.1999.6413). Orders are first priced by smoothed tables, then by exact ones (objective
smoothing: J. Gu and X. Huang, 1994, doi 10.1109/21.286385). Given an instance, its choices, tables
of what every need costs and a start, it gives back a plan in pieces, which `decode` turns into a
solution of the exact model.
"""
