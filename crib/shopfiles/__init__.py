"""A shop's spreadsheets in and out, with row-exact errors."""
