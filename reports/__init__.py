"""What people see: text, tables, pages and the command line."""
