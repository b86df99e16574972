"""Many runs: what varies, the farm of runs, statistics, comparing, sweeping; imports analysis and below."""
