"""Files of rows as they are stored - text, workbooks, Parquet - to their header's names and their rows in chunks."""
