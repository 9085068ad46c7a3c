"""From a plan that is known: solving on from it, staying near it, and the next best order.

A warm start; the minimal perturbation problem (H. El Sakkout and M. Wallace, 2000, doi
10.1023/A:1009856210543) for planning again near an old assignment; and the second-best order for
what a plan needs. Given a `Season` and a `Plan`, each gives back plans with what was proven.
"""
