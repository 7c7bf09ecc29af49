"""From forecasts to decisions: outcomes in words, flags, what to read out."""
