"""The same plan in the browser of this machine: check, plan, look around, try, take along."""
