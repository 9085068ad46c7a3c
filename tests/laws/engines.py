"""Engines for the second model: HiGHS by its own interface, without our search, and SCIP.

SCIP comes with PySCIPOpt, which only `pip install -e '.[engines]'` installs.
"""

from __future__ import annotations

import math
import time
from importlib.metadata import version

import numpy as np

from tests.laws.second_model import Found, Program

GAP = 1e-6
"""Share of the cost within which a plan counts as proven."""
INFEASIBLE = Found(math.inf, None, -math.inf, False)


def with_highs(program: Program, seconds: float = math.inf) -> Found:
    """Solve by HiGHS in one thread, with presolve and all else as it comes."""
    import highspy

    from planner.optimize.mip.highs import let_banner_out

    let_banner_out()
    csc = program.matrix.tocsc()
    lp = highspy.HighsLp()
    lp.num_row_, lp.num_col_ = csc.shape
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = program.cost, program.least, program.most
    lp.row_lower_, lp.row_upper_ = program.low, program.high
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_, lp.a_matrix_.index_ = csc.indptr, csc.indices
    lp.a_matrix_.value_ = csc.data
    if program.whole.any():
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[i] for i in program.whole.tolist()]
    highs = highspy.Highs()
    highs.silent()
    for name, value in (("threads", 1), ("mip_rel_gap", GAP), ("mip_abs_gap", 1e-7)):
        highs.setOptionValue(name, value)
    highs.passModel(lp)
    until = time.process_time() + seconds
    highs.cbMipInterrupt += lambda event: event.interrupt(time.process_time() > until)
    highs.run()
    proven = highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
    info = highs.getInfo()
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return INFEASIBLE
    value = info.objective_function_value
    bound = info.mip_dual_bound if program.whole.any() else value if proven else -math.inf
    return Found(value, np.array(highs.getSolution().col_value), bound, proven)


def with_scip(program: Program, seconds: float = math.inf) -> Found:
    """Solve by SCIP in one thread, with everything as it comes."""
    from pyscipopt import Model, quicksum

    scip = Model()
    scip.hideOutput()
    scip.setParams({"limits/gap": GAP, "limits/absgap": 1e-7, "parallel/maxnthreads": 1})
    scip.setParam("timing/clocktype", 1)  # of the processor
    if seconds < math.inf:
        scip.setParam("limits/time", max(0.1, seconds))
    columns = [
        scip.addVar(
            vtype="I" if whole else "C",
            lb=float(low),
            ub=None if high == math.inf else float(high),
            obj=float(cost),
        )
        for whole, low, high, cost in zip(
            program.whole, program.least, program.most, program.cost, strict=True
        )
    ]
    rows = program.matrix
    for i, (low, high) in enumerate(zip(program.low, program.high, strict=True)):
        at = range(rows.indptr[i], rows.indptr[i + 1])
        terms = quicksum(float(rows.data[k]) * columns[rows.indices[k]] for k in at)
        if len(at) == 0 or (low == -math.inf and high == math.inf):
            continue
        if low == high:
            scip.addCons(terms == float(low))
        else:
            if high < math.inf:
                scip.addCons(terms <= float(high))
            if low > -math.inf:
                scip.addCons(terms >= float(low))
    scip.optimize()
    if scip.getNSols() == 0:
        return INFEASIBLE
    best = scip.getBestSol()
    x = np.array([scip.getSolVal(best, column) for column in columns])
    proven = scip.getStatus() in ("optimal", "gaplimit")
    return Found(float(program.cost @ x), x, scip.getDualbound(), proven)


ENGINES = {"HiGHS": with_highs, "SCIP": with_scip}


def versions() -> dict[str, str]:
    """What the comparison rests on, in the versions installed."""
    from pyscipopt import Model

    scip = Model()
    return {
        "highspy": version("highspy"),
        "PySCIPOpt": version("PySCIPOpt"),
        "SCIP": str(scip.version()),
        "PuLP": version("pulp"),
    }
