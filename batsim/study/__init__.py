"""Many runs: replications, intervals, comparisons, and where they run."""
