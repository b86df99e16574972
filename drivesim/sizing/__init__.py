"""What a drive can do at all, without a time step; imports analysis and below."""
