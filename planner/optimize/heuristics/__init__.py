"""Ways to a better plan that solve parts of the exact model (matheuristics).

Large neighborhood search (P. Shaw, 1998, doi 10.1007/3-540-49481-2_30); fix-and-optimize (S.
Helber and F. Sahling, 2010, doi 10.1016/j.ijpe.2009.08.022); a set-partitioning heuristic over
patterns of plans that were found (B. A. Foster and D. M. Ryan, 1976, doi 10.1057/jors.1976.63; Y.
Rochat and E. D. Taillard, 1995, doi 10.1007/BF02430370); relax-and-fix (Y. Pochet and L. A. Wolsey,
2006, doi 10.1007/0-387-33477-7); dynamic slope scaling (D. Kim and P. M. Pardalos, Operations
Research Letters 24, 1999); diving. Each is given the incumbent and a budget, and offers what it
finds to the incumbent.
"""
