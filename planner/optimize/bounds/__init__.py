"""Proven bounds: relaxations of the exact model, settled or raised as far as time allows.

The model without the field rule; one that aggregates the lots and recipes of a variety (D. F.
Rogers, R. D. Plante, R. T. Wong and J. R. Evans, "Aggregation and disaggregation techniques and
methodology in optimization", 1991, doi 10.1287/opre.39.4.553), with what plants its solution
(disaggregation); column generation for large seasons (M. E. Lübbecke and J. Desrosiers, 2005, doi
10.1287/opre.1050.0234); Benders decomposition into order and planting (J. F. Benders, 1962, doi
10.1007/BF01386316); patterns of whole fields in whole bags (G. B. Dantzig and P. Wolfe, 1960, doi
10.1287/opre.8.1.101), all of them listed where they are few (R. Baldacci, N. Christofides and A.
Mingozzi, 2008, doi 10.1007/s10107-007-0178-5). Given the model and the incumbent, each gives back
what it proved and its solution, a guide to good plans.
"""
