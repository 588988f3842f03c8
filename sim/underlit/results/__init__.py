"""What a trace found: fields with standard errors, zones, meter heads, ledger."""
