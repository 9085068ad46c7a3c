"""What was decided: the plan's records and the audit that recomputes them."""
