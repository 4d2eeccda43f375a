"""What people act on: sentences, charts, terminal, workbook, page and files, all from one finished audit."""
