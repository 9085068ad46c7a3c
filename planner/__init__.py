"""Season planner for a soybean grower who treats his own seed.

>>> import planner
>>> season = planner.load("data/demo.xlsx")  # doctest: +SKIP
>>> plan = planner.make_plan(season)  # doctest: +SKIP
>>> planner.write(plan, season, "plan")  # doctest: +SKIP
"""

TYPE_CHECKING = False  # any import here would leave a moment in which Ctrl-C shows a traceback
if TYPE_CHECKING:
    from planner.api import load, make_plan, write
    from planner.errors import (
        AuditError,
        EngineError,
        Fault,
        InputError,
        Interrupted,
        NoPlanError,
        OutputError,
        PlannerError,
    )
    from planner.plan.plan import Plan
    from planner.season.domain import Season

__version__ = "0.1.0"

__all__ = [
    "AuditError",
    "EngineError",
    "Fault",
    "InputError",
    "Interrupted",
    "NoPlanError",
    "OutputError",
    "Plan",
    "PlannerError",
    "Season",
    "load",
    "make_plan",
    "write",
]

_HOME = {
    "load": "planner.api",
    "make_plan": "planner.api",
    "write": "planner.api",
    "Plan": "planner.plan.plan",
    "Season": "planner.season.domain",
}
"""Module of each public name; a name that is missing here is an error class."""


def __getattr__(name: str) -> object:
    """Fetch a public name on first use, so that importing the package costs next to nothing."""
    from importlib import import_module

    if name not in __all__:
        msg = f"module 'planner' has no attribute {name!r}"
        raise AttributeError(msg)
    return getattr(import_module(_HOME.get(name, "planner.errors")), name)
