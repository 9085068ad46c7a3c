"""Mixed-integer programs as arrays, and how one is solved: the only room that knows HiGHS.

HiGHS: Q. Huangfu and J. A. J. Hall, "Parallelizing the dual revised simplex method", 2018, doi
10.1007/s12532-017-0130-5. Given a `Matrix`, which columns are free, and `Limits`, it gives back an
`Answer`: a status, a solution and a bound. `verified` does that twice, by two kinds of solve, for
every bound that is reported.
"""
