"""What a recording means: conditions, fighting, ledger, cautions, verdict; never integrates anything."""
