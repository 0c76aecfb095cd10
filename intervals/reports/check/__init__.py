"""The reports of a check: table, sheet, workbook, calendar."""
