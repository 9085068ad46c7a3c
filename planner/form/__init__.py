"""The workbook to fill in: blank, the demo, next season's, or a copy with faults marked."""
