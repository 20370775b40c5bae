"""What every room may use: units, sentences, data files, spreadsheets, suggestions."""
