"""Paper: the plan as JSON and as a workbook."""
