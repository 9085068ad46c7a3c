"""The season as an exact mixed-integer program, rule by rule, and a solution of it as a plan.

Assignment of fields to lots and recipes, with whole bags (lumpy treating), whole containers at
all-units price breaks, and discounts at levels of an order. Given a `Season`, `make_instance`
gives numbers by index, `make_model` the program with names for its columns; `extract.make_plan`
turns a solution into a `Plan`.
"""
