"""What a trace says to people and to files: printed tables, summary, csv, pictures."""
