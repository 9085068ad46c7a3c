"""Why the plan is as it is: everything here is found by solving again or by exact arithmetic."""
