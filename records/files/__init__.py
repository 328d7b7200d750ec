"""Files of records, for people with a spreadsheet: templates, files taken in, and records taken out, of every kind."""
