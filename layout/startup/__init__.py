"""Start-up and the years after: what a flow meter should read, and what a row of readings says."""
