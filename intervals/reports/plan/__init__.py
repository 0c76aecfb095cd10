"""A plan of stops as table, page, calendar and workbook."""
